package store

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"syscall"

	"trivet/fault"
)

// putInPlace gives a finished file its name, durably, and never over another
// file: a hard link fails where a rename would replace.
func putInPlace(temp, path string) error {
	f, err := os.OpenFile(temp, os.O_RDWR, 0)
	if err != nil {
		return diskFault(path, err)
	}
	err = errors.Join(f.Sync(), f.Close())
	if err != nil {
		return diskFault(path, err)
	}
	switch err := os.Link(temp, path); {
	case err == nil:
		os.Remove(temp)
	case errors.Is(err, fs.ErrExist):
		return notebookExists(path)
	default: // a file system without hard links
		if _, err := os.Lstat(path); err == nil {
			return notebookExists(path)
		}
		if err := os.Rename(temp, path); err != nil {
			return diskFault(path, err)
		}
	}
	return syncDir(filepath.Dir(path))
}

// writeSynced writes a small file durably, over any that is there.
func writeSynced(path, text string) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Sync(), f.Close(), syncDir(filepath.Dir(path)))
}

// syncDir makes a new name in a folder survive a power cut.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil // folders cannot be synced there; NTFS journals names
	}
	d, err := os.Open(dir)
	if err != nil {
		return diskFault(dir, err)
	}
	err = d.Sync()
	return diskFault(dir, errors.Join(err, d.Close()))
}

// removeDatabase removes a temporary database and what SQLite kept beside it.
func removeDatabase(path string) {
	for _, suffix := range []string{"", "-journal", "-wal", "-shm"} {
		os.Remove(path + suffix)
	}
}

// diskFault says what an error of the operating system means.
func diskFault(path string, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, syscall.ENOSPC):
		return fault.New("disk-full", "no room left on the disk").In(path).
			WithFix("free some space and try again").Wrap(err)
	case errors.Is(err, fs.ErrPermission):
		return readOnlyFault(path, "the file or its folder cannot be written").Wrap(err)
	}
	return fault.New("notebook-io", "the disk refused").In(path).Wrap(err)
}

// renamed gives an error about a temporary file the name the user knows.
func renamed(err error, temp, path string) error {
	if e := fault.As(err); e != nil && e.File == temp {
		c := *e
		c.File = path
		return &c
	}
	return err
}
