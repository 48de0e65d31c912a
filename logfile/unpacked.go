package logfile

import (
	"bufio"
	"errors"
	"io"

	"trivet/fault"
)

// unpacked reads the text of a packed file. Where the file ends before its
// packing does, what was unpacked up to there is the text: nothing of it is
// lost, but its checksum is, so that nothing vouches for it. A file that is
// whole and spoilt stays an error.
type unpacked struct {
	r    io.Reader
	in   *bufio.Reader // the packed bytes
	file *fileEnd
	n    int64 // bytes unpacked
	cut  bool  // the file broke off
}

func (u *unpacked) Read(p []byte) (int, error) {
	if u.cut {
		return 0, io.EOF
	}
	n, err := u.r.Read(p)
	u.n += int64(n)
	if errors.Is(err, io.ErrUnexpectedEOF) && u.n > 0 && u.file.ended && u.in.Buffered() == 0 {
		u.cut = true
		err = io.EOF
	}
	return n, err
}

// fileEnd counts the bytes of a file and notices its end.
type fileEnd struct {
	r     io.Reader
	n     int64
	ended bool
}

func (f *fileEnd) Read(p []byte) (int, error) {
	n, err := f.r.Read(p)
	f.n += int64(n)
	f.ended = f.ended || errors.Is(err, io.EOF)
	return n, err
}

// cut tells whether the packed file broke off.
func (s *source) cut() bool { return s.packed != nil && s.packed.cut }

// inCut says of an error in a packed file that broke off that it did.
func (s *source) inCut(err error) error {
	if f := fault.As(err); f != nil && s.cut() && f.Code != "log-read" {
		f.Message += "; the " + s.Compression + " file breaks off, and this is said of what is left of it"
	}
	return err
}

// tellCut accounts for a packed file that broke off: up to which row it was
// read.
func (s *source) tellCut(t *Table) {
	if !s.cut() {
		return
	}
	a := &t.Account
	a.note("log-packed-cut", "the %s file breaks off after %d bytes, which hold %d bytes of text and %d rows: what followed is lost, and without its checksum nothing vouches for what was read; copy the file again if you can",
		s.Compression, s.read.n, s.packed.n, a.Rows)
	if a.Rows > 0 {
		a.add(Problem{Kind: PackingCut, Row: a.Rows, Detail: "the packed file breaks off in this row or behind it"})
		a.sort()
	}
}
