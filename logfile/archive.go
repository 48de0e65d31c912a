package logfile

import (
	"archive/zip"
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"

	"trivet/fault"
)

// archive is a workbook's zip archive, read at any place of its file: its
// directory is in memory, its parts are streams. What it claims to unpack to
// is not trusted.
type archive struct {
	z     *zip.Reader
	parts bounded // what its parts unpack to, all together
	most  int     // bytes of one piece of XML: a tag, a text between two
}

// Bounds of an archive. A sheet of readings packs ten to fifty to one; deflate
// allows a thousand.
const (
	mostDirectoryBytes = 16 << 20
	mostRatio          = 512
	freeUnpackedBytes  = 32 << 20 // may be unpacked whatever the ratio
	mostXMLDepth       = 256
)

// openArchive reads the directory of an archive of size bytes.
func openArchive(at io.ReaderAt, size int64, limits Limits) (*archive, error) {
	in := &directoryBound{r: at, left: mostDirectoryBytes}
	z, err := zip.NewReader(in, size)
	if err != nil {
		if fault.As(err) != nil {
			return nil, err
		}
		head := make([]byte, min(size, 64<<10))
		n, _ := at.ReadAt(head, 0) // less of it tells less
		if head = head[:n]; !bytes.Contains(head, []byte("xl/")) && !bytes.Contains(head, []byte("content.xml")) && !bytes.Contains(head, []byte("[Content_Types].xml")) && !bytes.Contains(head, []byte("vnd.oasis.opendocument")) {
			return nil, fault.New("log-packed", "this is a zip archive, and a text table or a workbook is read here").WithFix("unpack the archive")
		}
		return nil, fault.New("log-workbook", "the file begins as a workbook (a zip archive) and cannot be unpacked: its directory, which stands at its end, is missing or broken").
			WithFix("copy the file again if it was cut off, or save the sheet as CSV").Wrap(err)
	}
	in.left = math.MaxInt64
	a := &archive{z: z, most: limits.MaxLine}
	a.parts.most = min(limits.MaxBytes, max(freeUnpackedBytes, mostRatio*size))
	a.parts.left = a.parts.most
	if a.parts.most < limits.MaxBytes {
		a.parts.fix = "save the sheet as CSV: a workbook that unpacks to so many times its size is taken for a trap"
	}
	return a, nil
}

// directoryBound bounds how much of an archive is read before its parts are.
type directoryBound struct {
	r    io.ReaderAt
	left int64
}

func (b *directoryBound) ReadAt(p []byte, at int64) (int, error) {
	if b.left -= int64(len(p)); b.left < 0 {
		return 0, fault.New("log-size", "the directory of the archive has more than %d bytes", mostDirectoryBytes).WithFix("save the sheet as CSV")
	}
	return b.r.ReadAt(p, at)
}

// has tells whether a part is there whose name f accepts.
func (a *archive) has(f func(name string) bool) bool {
	for _, x := range a.z.File {
		if f(x.Name) {
			return true
		}
	}
	return false
}

var errNoPart = errors.New("a part of the workbook is missing")

// xml opens a part as XML, whatever the capitals: names are compared so
// (ECMA-376, part 2, section 9.1). Parts are read one after the other.
func (a *archive) xml(part string) (*xmlReader, error) {
	part = strings.TrimPrefix(part, "/")
	for _, f := range a.z.File {
		if !strings.EqualFold(strings.ReplaceAll(f.Name, `\`, "/"), part) {
			continue
		}
		r, err := f.Open()
		if err != nil {
			return nil, err
		}
		a.parts.r = r
		x := &xmlReader{closer: r, piece: pieceBound{r: &a.parts, most: a.most}}
		x.d = xml.NewDecoder(bufio.NewReaderSize(&x.piece, 64<<10))
		return x, nil
	}
	return nil, errNoPart
}

// xmlReader reads XML piece by piece; neither a long piece nor deep nesting
// fills the memory.
type xmlReader struct {
	d      *xml.Decoder
	piece  pieceBound
	depth  int
	closer io.Closer
}

// Token is the next piece. Its bytes are the reader's again at the next call.
func (x *xmlReader) Token() (xml.Token, error) {
	x.piece.seen = 0
	t, err := x.d.Token()
	switch t.(type) {
	case xml.StartElement:
		if x.depth++; x.depth > mostXMLDepth {
			return nil, fault.New("log-workbook", "the workbook has elements more than %d deep in each other", mostXMLDepth).WithFix("save the sheet as CSV")
		}
	case xml.EndElement:
		x.depth--
	}
	return t, err
}

// Skip reads to the end of the element that was begun last.
func (x *xmlReader) Skip() error {
	for to := x.depth - 1; x.depth > to; {
		if _, err := x.Token(); err != nil {
			return err
		}
	}
	return nil
}

func (x *xmlReader) Close() error { return x.closer.Close() }

// pieceBound bounds how far the decoder reads for one piece.
type pieceBound struct {
	r          io.Reader
	seen, most int
}

func (b *pieceBound) Read(p []byte) (int, error) {
	if b.seen > b.most {
		return 0, fault.New("log-line", "a text or a tag inside the workbook is longer than %d bytes", b.most).WithFix("save the sheet as CSV")
	}
	n, err := b.r.Read(p)
	b.seen += n
	return n, err
}

// xmlAttr is an attribute of an element by its name without prefix.
func xmlAttr(e xml.StartElement, local string) string {
	for _, a := range e.Attr {
		if a.Name.Local == local {
			return a.Value
		}
	}
	return ""
}

// mostCellBytes bounds the text of one cell; spreadsheets themselves stop at
// 32,767 letters.
const mostCellBytes = 1 << 16

func longCell() error {
	return fault.New("log-line", "a cell of the workbook holds more than %d bytes", mostCellBytes).WithFix("save the sheet as CSV")
}
