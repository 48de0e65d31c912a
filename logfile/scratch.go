package logfile

import (
	"bytes"
	"io"

	"trivet/fault"
)

// A Scratch is room outside of the memory, such as a temporary file: it is
// written once from its beginning and then read at any place.
type Scratch interface {
	io.Writer
	io.ReaderAt
	io.Closer
}

// mostHeldBytes bounds a workbook or a Parquet file that is held in memory,
// since it came as a stream and no scratch was given.
const mostHeldBytes = 64 << 20

// atAnyPlace is the file that r reads, from where r stands, where it can be
// read at any place; else nil.
func atAnyPlace(r io.Reader) *io.SectionReader {
	at, ok := r.(io.ReaderAt)
	if !ok {
		return nil
	}
	s, ok := r.(io.Seeker)
	if !ok {
		return nil
	}
	from, err := s.Seek(0, io.SeekCurrent)
	if err != nil {
		return nil // a pipe has a Seek that fails
	}
	to, err := s.Seek(0, io.SeekEnd)
	if err != nil {
		return nil
	}
	if _, err := s.Seek(from, io.SeekStart); err != nil {
		return nil
	}
	return io.NewSectionReader(at, from, to-from)
}

// random makes the text readable at any place, until done is called: it is the
// file itself, unless that is packed or a stream, which goes to the scratch or
// into the memory.
func (s *source) random(text io.Reader, what string, limits Limits) (at io.ReaderAt, size int64, done func(), err error) {
	done = func() {}
	if s.file != nil && s.Compression == "" {
		if n := s.file.Size(); n > limits.MaxBytes {
			return nil, 0, done, fault.New("log-size", "the %s has %d bytes, at most %d are read", what, n, limits.MaxBytes).WithFix("export the log as CSV, or raise the limit")
		}
		s.whole = true
		return s.file, s.file.Size(), done, nil
	}
	if s.scratch == nil {
		most := min(limits.MaxBytes, mostHeldBytes)
		b, err := io.ReadAll(io.LimitReader(text, most+1))
		if err != nil {
			return nil, 0, done, readFault(err)
		}
		if size = int64(len(b)); size > most {
			return nil, 0, done, fault.New("log-size", "the %s comes packed or as a stream, and then at most %d bytes of it are held", what, most).
				WithFix("unpack the file first, or export the log as CSV")
		}
		at = bytes.NewReader(b)
	} else {
		room, err := s.scratch()
		if err != nil {
			return nil, 0, done, readFault(err)
		}
		done = func() { room.Close() }
		at = room
		if size, err = io.Copy(room, text); err != nil {
			return nil, 0, done, readFault(err)
		}
	}
	if s.cut() {
		return nil, 0, done, fault.New("log-read", "the %s file breaks off, and the %s in it has its directory at the end", s.Compression, what).WithFix("copy the file again")
	}
	return at, size, done, nil
}
