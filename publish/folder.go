package publish

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/figure"
)

// Extra is a file written beside the report, such as a table of the data.
type Extra struct {
	Path  string // relative, with slashes, e.g. "data/cooks.csv"
	What  string // what it holds, for the list of files
	Write func(io.Writer) error
}

// Manifest is the name of the list of files with their SHA-256, in the form
// that sha256sum -c reads.
const Manifest = "SHA256SUMS"

// WriteFolder writes the report as a folder: index.html, figures/ as SVG, PNG
// and PDF, the extras, and [Manifest]. Extras are added to the report's list
// of data files with their size and SHA-256.
//
// The folder is written under a temporary name beside dir and renamed when it
// is complete, so that a failure, or an end of ctx, leaves what was there before. An earlier
// report in dir is replaced; a folder that holds anything else is refused
// with the Usage error "report-folder".
func WriteFolder(ctx context.Context, dir string, r Report, extras []Extra) error {
	dir = filepath.Clean(dir)
	if err := replaceable(dir); err != nil {
		return err
	}
	parent := filepath.Dir(dir)
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return fmt.Errorf("making %s: %w", parent, err)
	}
	tmp, err := os.MkdirTemp(parent, "."+filepath.Base(dir)+".tmp-")
	if err != nil {
		return fmt.Errorf("making a temporary folder: %w", err)
	}
	defer os.RemoveAll(tmp)
	if err := os.Chmod(tmp, 0o755); err != nil {
		return err
	}
	f := &folder{root: tmp, stopped: ctx.Err}
	for _, x := range extras {
		sum, n, err := f.write(x.Path, x.Write)
		if err != nil {
			return err
		}
		r.Data = append(slices.Clip(r.Data), DataFile{Path: x.Path, What: x.What, SHA256: sum, Bytes: n})
	}
	if err := f.figures(r); err != nil {
		return err
	}
	if _, _, err := f.write("index.html", r.WriteHTML); err != nil {
		return err
	}
	if err := f.manifest(); err != nil {
		return err
	}
	return swap(tmp, dir)
}

// folder writes files and remembers their sums.
type folder struct {
	root    string
	stopped func() error // says why the writing should end
	sums    []string     // "<hex>  <path>"
}

// write makes one file; the path must stay inside the folder.
func (f *folder) write(name string, write func(io.Writer) error) (sum string, n int64, err error) {
	if err := f.stopped(); err != nil {
		return "", 0, err
	}
	if !fs.ValidPath(name) || name == "." || strings.Contains(name, `\`) {
		return "", 0, fault.BadUsage("report-path", "a file of the report would lie outside of its folder").On("path", name).
			WithFix("give a relative path with slashes, such as data/cooks.csv")
	}
	for _, s := range f.sums {
		if s[66:] == name {
			return "", 0, fault.BadUsage("report-path", "two files of the report have the same path").On("path", name)
		}
	}
	full := filepath.Join(f.root, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
		return "", 0, fmt.Errorf("making the folder of %s: %w", name, err)
	}
	file, err := os.OpenFile(full, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return "", 0, fmt.Errorf("making %s: %w", name, err)
	}
	defer file.Close()
	h := &counter{Hash: sha256.New()}
	buf := bufio.NewWriterSize(io.MultiWriter(file, h), 1<<16)
	if err := write(buf); err != nil {
		return "", 0, fmt.Errorf("writing %s: %w", name, err)
	}
	if err := buf.Flush(); err != nil {
		return "", 0, fmt.Errorf("writing %s: %w", name, err)
	}
	if err := file.Sync(); err != nil {
		return "", 0, fmt.Errorf("writing %s: %w", name, err)
	}
	sum = hex.EncodeToString(h.Sum(nil))
	f.sums = append(f.sums, sum+"  "+name)
	return sum, h.n, nil
}

type counter struct {
	hash.Hash
	n int64
}

func (c *counter) Write(p []byte) (int, error) {
	c.n += int64(len(p))
	return c.Hash.Write(p)
}

// figures writes the figures of the answers and evidence in every form, and
// those of single cooks as SVG.
func (f *folder) figures(r Report) error {
	var all []Exhibit
	if r.AnswerLine != nil {
		all = append(all, Exhibit{ID: "answer-line", Figure: *r.AnswerLine})
	}
	for _, q := range r.Questions {
		all = append(all, q.Exhibits...)
	}
	all = append(all, r.Overview...)
	used := map[string]bool{}
	for _, x := range all {
		if err := f.figure(r, unique(used, slug(x.ID)), x.Figure); err != nil {
			return err
		}
	}
	for _, c := range r.Cooks {
		if c.Traces == nil {
			continue
		}
		if err := f.vector(r, unique(used, "cook-"+slug(c.Label)), c.Traces.Figure); err != nil {
			return err
		}
	}
	return nil
}

func unique(used map[string]bool, name string) string {
	out := name
	for n := 2; used[out]; n++ {
		out = fmt.Sprintf("%s-%d", name, n)
	}
	used[out] = true
	return out
}

func (f *folder) vector(r Report, name string, fig figure.Figure) error {
	s, err := scene(r, fig, figure.Page, figure.Light)
	if err != nil {
		return fmt.Errorf("figure %s: %w", name, err)
	}
	_, _, err = f.write(path.Join("figures", name+".svg"), func(w io.Writer) error {
		return s.WriteSVG(w, figure.SVGOptions{ID: name, Auto: true})
	})
	return err
}

func (f *folder) figure(r Report, name string, fig figure.Figure) error {
	if err := f.vector(r, name, fig); err != nil {
		return err
	}
	for _, form := range []struct {
		suffix string
		size   figure.Size
		theme  figure.Theme
		pdf    bool
	}{
		{".pdf", figure.Page, figure.Print, true},
		{".png", figure.Page, figure.Light, false},
		{"-1080p.png", figure.HD, figure.Light, false},
	} {
		s, err := scene(r, fig, form.size, form.theme)
		if err != nil {
			return fmt.Errorf("figure %s: %w", name, err)
		}
		_, _, err = f.write(path.Join("figures", name+form.suffix), func(w io.Writer) error {
			if form.pdf {
				return s.WritePDF(w)
			}
			return s.WritePNG(w, figure.PNGOptions{})
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (f *folder) manifest() error {
	lines := slices.Clone(f.sums)
	slices.SortFunc(lines, func(a, b string) int { return strings.Compare(a[66:], b[66:]) })
	_, _, err := f.write(Manifest, func(w io.Writer) error {
		_, err := io.WriteString(w, strings.Join(lines, "\n")+"\n")
		return err
	})
	return err
}

// replaceable reports whether dir may be written: absent, empty, or an
// earlier report to which nothing was added.
func replaceable(dir string) error {
	refuse := func(what, value string) error {
		return fault.BadUsage("report-folder", "%s", what).On("folder", value).
			WithFix("choose another folder, or move what is in it elsewhere")
	}
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("looking at %s: %w", dir, err)
	case !info.IsDir():
		return refuse("there is a file where the report's folder should be", dir)
	}
	known := map[string]bool{Manifest: true}
	sums, err := os.ReadFile(filepath.Join(dir, Manifest))
	if err == nil && bytes.Contains(sums, []byte("  index.html")) {
		for _, line := range strings.Split(string(sums), "\n") {
			if len(line) > 66 {
				known[line[66:]] = true
			}
		}
	}
	return filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, p)
		if err != nil || d.IsDir() {
			return err
		}
		if !known[filepath.ToSlash(rel)] {
			return refuse("the folder holds a file that is not of an earlier report", p)
		}
		return nil
	})
}

// swap puts tmp in the place of dir; an earlier folder is moved aside first
// and put back should the rename fail.
func swap(tmp, dir string) error {
	if _, err := os.Stat(dir); errors.Is(err, fs.ErrNotExist) {
		return os.Rename(tmp, dir)
	}
	old := tmp + "-old"
	if err := os.Rename(dir, old); err != nil {
		return fmt.Errorf("moving the earlier report aside: %w", err)
	}
	if err := os.Rename(tmp, dir); err != nil {
		return errors.Join(fmt.Errorf("putting the report in place: %w", err), os.Rename(old, dir))
	}
	return os.RemoveAll(old)
}
