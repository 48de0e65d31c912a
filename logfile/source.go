package logfile

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"io"
	"unicode/utf8"

	"github.com/klauspost/compress/zstd"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"trivet/fault"
)

// source is an opened file: its text as bytes of UTF-8 (or of an 8-bit code,
// see toUTF8), hashed as it was before decompression.
type source struct {
	io.Reader
	Encoding    string   // "UTF-8", "UTF-16LE", "UTF-16BE", "windows-1252"
	Compression string   // "", "gzip", "zstd"
	Kind        string   // "table", "JSON Lines", "JSON", "workbook", "Parquet"
	account     *Account // of what was turned into a table first; whole once that is read
	raw         io.Reader
	sum         hash.Hash
	closers     []func()

	scratch func() (Scratch, error)
	file    *io.SectionReader // the file itself, where it can be read at any place
	whole   bool              // it was
	read    fileEnd
	packed  *unpacked // nil for a file that is not packed
}

// open looks at the first bytes of r, never at a file name, to see how the
// text is packed. What is to be read at any place, a workbook or a Parquet
// file, is where r itself can be.
func open(r io.Reader, opt Options) (*source, error) {
	limits, want := opt.Limits, part{opt.Sheet, opt.Range}
	s := &source{sum: sha256.New(), Encoding: "UTF-8", scratch: opt.Scratch, file: atAnyPlace(r)}
	w := io.Writer(s.sum)
	if opt.Raw != nil {
		w = io.MultiWriter(s.sum, opt.Raw)
	}
	s.read.r = io.TeeReader(r, w)
	s.raw = &s.read
	in := bufio.NewReaderSize(s.raw, 256<<10)
	head, err := in.Peek(4)
	if err != nil && err != io.EOF {
		return nil, readFault(err)
	}
	var text io.Reader = in
	switch {
	case bytes.HasPrefix(head, []byte{0x1f, 0x8b}):
		s.Compression = "gzip"
		z, err := gzip.NewReader(in)
		if err != nil {
			return nil, fault.New("log-compression", "the file begins as gzip and cannot be unpacked").Wrap(err)
		}
		text = z
	case bytes.HasPrefix(head, []byte{0x28, 0xb5, 0x2f, 0xfd}):
		s.Compression = "zstd"
		z, err := zstd.NewReader(in, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(64<<20))
		if err != nil {
			return nil, fault.New("log-compression", "the file begins as zstd and cannot be unpacked").Wrap(err)
		}
		s.closers = append(s.closers, z.Close)
		text = z
	}
	if s.Compression != "" {
		s.packed = &unpacked{r: text, in: in, file: &s.read}
		text = s.packed
	}
	plain := bufio.NewReaderSize(&bounded{r: text, left: limits.MaxBytes, most: limits.MaxBytes}, 64<<10)
	head, err = plain.Peek(4096)
	if err != nil && err != io.EOF {
		return nil, readFault(err)
	}
	if err := s.decode(plain, head, limits, want); err != nil {
		return nil, err
	}
	return s, nil
}

// decode picks the character code by the byte order mark or, without one, by
// where the zero bytes stand.
func (s *source) decode(plain *bufio.Reader, head []byte, limits Limits, want part) error {
	even, odd := 0, 0
	for i, c := range head {
		if c == 0 && i&1 == 0 {
			even++
		} else if c == 0 {
			odd++
		}
	}
	third := len(head) / 3
	switch {
	case bytes.HasPrefix(head, []byte{0xef, 0xbb, 0xbf}):
		if _, err := plain.Discard(3); err != nil {
			return readFault(err)
		}
		s.Reader = plain
	case bytes.HasPrefix(head, []byte{0xff, 0xfe}), len(head) > 3 && odd > third && even == 0:
		s.Encoding = "UTF-16LE"
		s.Reader = transform.NewReader(plain, unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewDecoder())
	case bytes.HasPrefix(head, []byte{0xfe, 0xff}), len(head) > 3 && even > third && odd == 0:
		s.Encoding = "UTF-16BE"
		s.Reader = transform.NewReader(plain, unicode.UTF16(unicode.BigEndian, unicode.UseBOM).NewDecoder())
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		s.Kind = "workbook"
		s.convert(limits, func(w io.Writer) error { return s.workbook(plain, w, limits, want) })
	case bytes.HasPrefix(head, []byte("PAR1")):
		s.Kind = "Parquet"
		s.convert(limits, func(w io.Writer) error { return s.parquet(plain, w, limits) })
	case isBinary(head):
		return fault.New("log-binary", "this is a binary file, not a text table").WithFix("export the log as CSV")
	default:
		s.Reader = plain
	}
	if text := bytes.TrimPrefix(head, []byte("\ufeff")); s.Kind == "" && s.Encoding == "UTF-8" && (jsonDocument(text) || looksLikeJSONLines(text)) {
		s.Kind = "JSON Lines"
		in := plain
		if jsonDocument(text) {
			s.Kind = "JSON"
			lines, stop := jsonLinesOf(plain, limits)
			s.closers = append(s.closers, stop)
			in = bufio.NewReaderSize(lines, 64<<10)
		}
		j := &jsonLines{in: in, limits: limits}
		s.convert(limits, func(w io.Writer) error {
			err := j.table(w)
			*s.account = j.account
			return err
		})
	}
	return nil
}

// convert puts a table made by f in place of the text, of as many bytes as a
// file may have. It runs beside the reader until that is closed.
func (s *source) convert(limits Limits, f func(io.Writer) error) {
	s.account = &Account{}
	r, w := io.Pipe()
	done := make(chan struct{})
	go func() {
		defer close(done)
		w.CloseWithError(f(&boundedWriter{w: w, left: limits.MaxBytes, most: limits.MaxBytes}))
	}()
	s.Reader = r
	s.closers = append([]func(){func() { r.Close(); <-done }}, s.closers...)
}

// isBinary tells a file that is no text: more than one byte in twenty is a
// control character that no text has. A few zero bytes are left to the cells
// they stand in; loggers that lose power write them.
func isBinary(head []byte) bool {
	// What a lost power supply leaves behind the last row is no sign.
	if text := bytes.TrimRight(head, "\x00"); len(text) > 0 {
		head = text
	}
	odd := 0
	for _, c := range head {
		if c < 0x20 && c != '\t' && c != '\n' && c != '\r' && c != '\f' && c != 0x1b {
			odd++
		}
	}
	return odd*20 > len(head)
}

// describe tells the layout how the file was packed.
func (s *source) describe(l *Layout) {
	l.Kind, l.Encoding, l.Compression = s.Kind, s.Encoding, s.Compression
	if l.Kind == "" {
		l.Kind = "table"
	}
	if l.eightBit && l.Encoding == "UTF-8" {
		l.Encoding = "windows-1252"
	}
}

// inSheet says of a sheet without a log that the log may stand in another.
func (s *source) inSheet(err error) error {
	f := fault.As(err)
	if f == nil || s.Kind != "workbook" || f.Code != "log-no-table" && f.Code != "log-no-time" {
		return err
	}
	f.Message += "; this is said of the sheet that was read"
	return f.WithFix("name the sheet of the log with --sheet and, where more stands on it, its cells with --range, such as B4:F900; --sheet with a name that is not there lists them")
}

// hash reads what is left of the raw bytes and returns their SHA-256 in hex.
// Of a file that was read at any place they are read only now.
func (s *source) hash() (string, error) {
	if _, err := io.Copy(io.Discard, s.raw); err != nil {
		return "", readFault(err)
	}
	if s.whole && s.read.n != s.file.Size() {
		return "", fault.New("log-changed", "the file had %d bytes when it was opened and %d when it was read", s.file.Size(), s.read.n).
			WithFix("load it again when nothing writes to it")
	}
	return hex.EncodeToString(s.sum.Sum(nil)), nil
}

func (s *source) close() {
	for _, f := range s.closers {
		f()
	}
}

// bounded refuses more than a stated number of bytes, so that a small packed
// file cannot fill the memory.
type bounded struct {
	r          io.Reader
	left, most int64
	fix        string
}

func (b *bounded) Read(p []byte) (int, error) {
	if b.left < 0 {
		f := fault.New("log-size", "the file has more than %d bytes once unpacked", b.most)
		if b.fix != "" {
			return 0, f.WithFix("%s", b.fix)
		}
		return 0, f.WithFix("split it, or raise the limit if it is meant to be so large")
	}
	n, err := b.r.Read(p)
	b.left -= int64(n)
	return n, err
}

// boundedWriter does the same for a table that a small file is turned into.
type boundedWriter struct {
	w          io.Writer
	left, most int64
}

func (b *boundedWriter) Write(p []byte) (int, error) {
	if b.left -= int64(len(p)); b.left < 0 {
		return 0, fault.New("log-size", "the table in the file has more than %d bytes of text", b.most).
			WithFix("split it, or raise the limit if it is meant to be so large")
	}
	return b.w.Write(p)
}

func readFault(err error) error {
	if e := fault.As(err); e != nil {
		return e
	}
	return fault.New("log-read", "the file cannot be read to its end").Wrap(err)
}

// toUTF8 makes a string of a cell: as it is where it is UTF-8, as
// windows-1252 (which holds Latin-1's letters and signs) where it is not.
func toUTF8(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	out, err := charmap.Windows1252.NewDecoder().Bytes(b)
	if err != nil {
		return string(bytes.ToValidUTF8(b, []byte("\ufffd")))
	}
	return string(out)
}
