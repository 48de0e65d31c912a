package web

import (
	"archive/zip"
	"context"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"trivet/bench"
	"trivet/fault"
)

// importStudy takes a zip of a package or of a plain folder.
func (d *Desk) importStudy(w http.ResponseWriter, r *http.Request) {
	problem := func(err error) {
		f := d.s.publicFault(err)
		d.showDesk(w, r, statusOf(f), deskList{Import: f})
	}
	dir, err := os.MkdirTemp("", "trivet-import-*")
	if err != nil {
		problem(err)
		return
	}
	defer os.RemoveAll(dir)
	mr, err := r.MultipartReader()
	if err != nil {
		problem(fault.New("form-bad", "%s", say("form-bad")).WithFix("%s", say("upload-fix")).Wrap(err))
		return
	}
	for {
		p, err := mr.NextPart()
		if err != nil {
			if errors.Is(err, io.EOF) {
				problem(fault.New("upload-empty", "%s", say("upload-empty")).WithFix("%s", say("import-fix")))
			} else {
				problem(uploadFault(err))
			}
			return
		}
		if p.FileName() == "" {
			continue
		}
		got, err := d.importFile(r.Context(), dir, p)
		if err != nil {
			problem(err)
			return
		}
		http.Redirect(w, r, "/studies/"+got.Study, http.StatusSeeOther)
		return
	}
}

func (d *Desk) importFile(ctx context.Context, dir string, p io.Reader) (*bench.Imported, error) {
	file := filepath.Join(dir, "upload.zip")
	out, err := os.Create(file)
	if err != nil {
		return nil, err
	}
	if _, err := io.Copy(out, p); err != nil {
		out.Close()
		return nil, uploadFault(err)
	}
	if err := out.Close(); err != nil {
		return nil, err
	}
	folder := filepath.Join(dir, "folder")
	if err := unpack(file, folder); err != nil {
		return nil, err
	}
	rd, id, isPackage, err := d.opt.OpenFolder(ctx, studyFolder(folder))
	if err != nil {
		return nil, withoutFolder(err, dir)
	}
	defer rd.Close()
	defer d.writing(id)()
	if isPackage {
		return bench.ImportPackage(ctx, rd, id, d.nb, nil)
	}
	return bench.ImportFolder(ctx, rd, id, d.nb, d.s.opt.Now(), nil)
}

// withoutFolder keeps the server's own paths out of a message.
func withoutFolder(err error, dir string) error {
	f := fault.As(err)
	if f == nil {
		return err
	}
	c := *f
	if rel, err := filepath.Rel(filepath.Join(dir, "folder"), c.File); err == nil && !strings.HasPrefix(rel, "..") {
		c.File = filepath.ToSlash(rel)
	}
	return &c
}

// studyFolder is the folder of an unpacked zip that holds the study: the top
// or the only folder in it.
func studyFolder(top string) string {
	for range 3 {
		entries, err := os.ReadDir(top)
		if err != nil || len(entries) != 1 || !entries[0].IsDir() {
			return top
		}
		top = filepath.Join(top, entries[0].Name())
	}
	return top
}

// unpack writes a zip into a new folder: plain files alone, within limits,
// none outside the folder.
func unpack(file, dir string) error {
	bad := func(what string) error {
		return fault.New("package-zip", "%s", say("zip-bad", what)).WithFix("%s", say("import-fix"))
	}
	z, err := zip.OpenReader(file)
	if err != nil {
		return bad(say("zip-none")).(*fault.Error).Wrap(err)
	}
	defer z.Close()
	if len(z.File) > maxEntries {
		return bad(say("zip-many"))
	}
	left := int64(maxUnpacked)
	for _, e := range z.File {
		if strings.HasSuffix(e.Name, "/") {
			continue
		}
		name := filepath.FromSlash(e.Name)
		if !filepath.IsLocal(name) || !e.Mode().IsRegular() {
			return bad(e.Name)
		}
		if err := unpackOne(e, filepath.Join(dir, name), &left); err != nil {
			return err
		}
	}
	return nil
}

func unpackOne(e *zip.File, to string, left *int64) error {
	in, err := e.Open()
	if err != nil {
		return fault.New("package-zip", "%s", say("zip-bad", e.Name)).WithFix("%s", say("import-fix")).Wrap(err)
	}
	defer in.Close()
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	n, err := io.Copy(out, io.LimitReader(in, *left+1))
	if *left -= n; *left < 0 {
		err = fault.New("package-zip", "%s", say("zip-large")).WithFix("%s", say("import-fix"))
	} else if err != nil {
		err = fault.New("package-zip", "%s", say("zip-bad", e.Name)).WithFix("%s", say("import-fix")).Wrap(err)
	}
	return errors.Join(err, out.Close())
}
