package cli

import (
	"context"
	"io"
	"os"
	"path/filepath"

	"trivet/fault"
	"trivet/store"
	"trivet/web"
)

// publishing gives the desk what the commands publish, study export and
// backup write.
func (e *Env) publishing(nb *store.Notebook) web.Publishing {
	return web.Publishing{
		Report: func(ctx context.Context, id string, fahrenheit bool, w io.Writer) error {
			env := *e
			env.Units = "metric"
			if fahrenheit {
				env.Units = "us"
			}
			return inTempFolder(func(tmp string) error {
				dir := filepath.Join(tmp, id+"-report")
				if _, err := publishStudy(ctx, &env, &source{reader: nb, id: id, name: id}, dir, nil); err != nil {
					return err
				}
				return zipFolder(dir, w)
			})
		},
		Package: func(ctx context.Context, id string, w io.Writer) error {
			return zipPackage(ctx, e, &source{reader: nb, id: id, name: id}, w)
		},
		Notebook: func(ctx context.Context, w io.Writer) error {
			return inTempFolder(func(tmp string) error {
				path := filepath.Join(tmp, "copy.trivet")
				if _, err := nb.Backup(ctx, path); err != nil {
					return err
				}
				f, err := os.Open(path)
				if err != nil {
					return err
				}
				defer f.Close()
				_, err = io.Copy(w, f)
				return err
			})
		},
	}
}

// inTempFolder gives work a folder that is gone afterwards.
func inTempFolder(work func(dir string) error) error {
	tmp, err := os.MkdirTemp("", "trivet-")
	if err != nil {
		return fault.New("temporary", "no temporary folder could be made").Wrap(err)
	}
	defer os.RemoveAll(tmp)
	return work(tmp)
}
