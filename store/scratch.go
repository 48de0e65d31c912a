package store

import (
	"os"

	"trivet/logfile"
)

// Scratch gives room in a folder for what must be read at any place and is too
// large for the memory: a temporary file without a name where the system
// allows that, gone when it is closed.
func Scratch(dir string) (logfile.Scratch, error) {
	f, err := os.CreateTemp(dir, ".trivet-scratch-*")
	if err != nil {
		return nil, diskFault(dir, err)
	}
	_ = os.Remove(f.Name())
	return &scratch{f}, nil
}

type scratch struct{ *os.File }

// Close lets go of the room.
func (s *scratch) Close() error {
	err := s.File.Close()
	_ = os.Remove(s.Name()) // where an open file could not be removed
	return err
}
