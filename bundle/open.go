package bundle

import (
	"archive/zip"
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/trace"
)

// Options say how a package or folder is read.
type Options struct {
	// LoadLog reads a log that a plain folder's cooks name. mapYAML is the
	// saved column map, nil to guess. Without it the samples of a plain
	// folder cannot be read.
	LoadLog func(name string, r io.Reader, mapYAML []byte) ([]trace.Trace, []fault.Note, error)
	// ZipLimit bounds what a zip file may unpack to, in bytes. 0 means 4 GB.
	ZipLimit int64
}

// Reader is an open package or plain folder.
type Reader interface {
	bench.Reader
	// Notes says what whoever uses the data must know of how they were read.
	Notes() []fault.Note
	// RawOf lists the SHA-256 of the logs the study has.
	RawOf(ctx context.Context, studyID string) ([]string, error)
}

// Open opens a data package (a folder or a zip file of one) or a plain folder
// with a study.yaml. Every file of a package is checked against its checksum
// first: one that was changed or is missing is named.
func Open(path string, opt Options) (Reader, error) {
	if opt.ZipLimit <= 0 {
		opt.ZipLimit = 4 << 30
	}
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fault.BadUsage("package-missing", "there is nothing here").In(path).WithFix("check the path")
	case err != nil:
		return nil, fault.BadUsage("package-missing", "the folder cannot be reached").In(path).Wrap(err)
	case info.IsDir():
		root, err := os.OpenRoot(path) // no link leads out of it
		if err != nil {
			return nil, fault.BadUsage("package-missing", "the folder cannot be read").In(path).Wrap(err)
		}
		r, err := openFS(path, root.FS(), root, opt)
		if err != nil {
			return nil, errors.Join(err, root.Close())
		}
		return r, nil
	}
	z, err := zip.OpenReader(path)
	if err != nil {
		return nil, fault.New("package-zip", "this is neither a folder nor a zip file").In(path).Wrap(err).
			WithFix("name the folder of a package or a study")
	}
	files, err := zipFiles(path, &z.Reader, opt.ZipLimit)
	if err != nil {
		return nil, errors.Join(err, z.Close())
	}
	r, err := openFS(path, files, z, opt)
	if err != nil {
		return nil, errors.Join(err, z.Close())
	}
	return r, nil
}

func openFS(path string, files fs.FS, closer io.Closer, opt Options) (Reader, error) {
	if _, err := fs.Stat(files, "datapackage.json"); err == nil {
		return openPackage(path, files, closer)
	}
	if _, err := fs.Stat(files, manifestPath); err == nil {
		return nil, within(path, missingFile("datapackage.json"))
	}
	return openFolder(path, files, closer, opt)
}

// IsPackage reports whether a path is a data package, as opposed to a plain
// folder: a folder or a zip file with a datapackage.json.
func IsPackage(path string) bool {
	if info, err := os.Stat(filepath.Join(path, "datapackage.json")); err == nil {
		return info.Mode().IsRegular()
	}
	z, err := zip.OpenReader(path)
	if err != nil {
		return false
	}
	defer z.Close()
	files, err := zipFiles(path, &z.Reader, 1<<62)
	if err != nil {
		return false
	}
	_, err = fs.Stat(files, "datapackage.json")
	return err == nil
}

// Limits of a zip file, besides the size it unpacks to.
const (
	mostZipFiles = 200_000
	mostZipRatio = 1000 // of a file over a megabyte
)

// zipFiles looks a zip file through before anything of it is unpacked. A
// package that was zipped with its folder is found in it.
func zipFiles(path string, z *zip.Reader, limit int64) (fs.FS, error) {
	bad := func(name, says string) error {
		return fault.New("package-zip", "%s", says).In(path).On("file", name).WithFix("unpack it by hand if you trust it")
	}
	if len(z.File) > mostZipFiles {
		return nil, bad("", "the zip file holds too many files")
	}
	total := uint64(0)
	top := ""
	for i, f := range z.File {
		name := strings.TrimSuffix(f.Name, "/")
		switch {
		case !isSafePath(name):
			return nil, bad(f.Name, "a path of the zip file leads out of it")
		case f.Mode()&fs.ModeType&^fs.ModeDir != 0:
			return nil, bad(f.Name, "the zip file holds a link or a device")
		case f.UncompressedSize64 > 1<<20 && f.UncompressedSize64/mostZipRatio > f.CompressedSize64:
			return nil, bad(f.Name, "a file of the zip file unpacks to far more than it should")
		}
		if total += f.UncompressedSize64; total > uint64(limit) || f.UncompressedSize64 > uint64(limit) {
			return nil, bad(f.Name, "the zip file unpacks to more than the limit")
		}
		first, _, inFolder := strings.Cut(name, "/")
		if i == 0 {
			top = first
		}
		if first != top || !inFolder && !f.FileInfo().IsDir() {
			top = ""
		}
	}
	if top == "" {
		return z, nil
	}
	return fs.Sub(z, top)
}

// isSafePath reports whether a path stays below its folder on every system.
func isSafePath(p string) bool {
	return p != "." && fs.ValidPath(p) && !strings.ContainsAny(p, "\\:\x00\r\n")
}
