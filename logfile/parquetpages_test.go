package logfile

import (
	"bytes"
	"encoding/binary"
	"math"
	"testing"

	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"

	"trivet/fault"
)

func marshalThrift(t testing.TB, v any) []byte {
	t.Helper()
	var p thrift.CompactProtocol
	b, err := thrift.Marshal(&p, v)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// pageOf is a page's header with so many bytes behind it.
func pageOf(t testing.TB, behind int, unpacked, values int32) []byte {
	h := format.PageHeader{Type: format.DataPage, UncompressedPageSize: unpacked, CompressedPageSize: int32(behind)}
	h.DataPageHeader.Valid = true
	h.DataPageHeader.V.NumValues = values
	h.DataPageHeader.V.Statistics.MaxValue = bytes.Repeat([]byte{'x'}, 500)
	return append(marshalThrift(t, &h), make([]byte, behind)...)
}

// Pages that ask for more memory than is given are refused before they are
// read, whatever their few bytes claim.
func TestParquetPagesThatAskForMuch(t *testing.T) {
	const plain = 1000
	column := func(from, size int) format.ColumnChunk {
		return format.ColumnChunk{MetaData: format.ColumnMetaData{DataPageOffset: int64(from), TotalCompressedSize: int64(size)}}
	}
	sound := pageOf(t, 100, plain, 10)
	for _, c := range []struct {
		name, code string // "" is read, "log-parquet" an error of the file
		pages      []byte
		columns    []format.ColumnChunk
	}{
		{"sound", "", append(sound, sound...), []format.ColumnChunk{column(0, 2*len(sound)), column(len(sound), len(sound))}},
		{"2 GiB once unpacked", "log-size", pageOf(t, 10, math.MaxInt32, 10), nil},
		{"two billion values", "log-size", pageOf(t, 10, 100, math.MaxInt32), nil},
		{"two columns of 150 MiB", "log-size", append(pageOf(t, 10, 150<<20, 1), pageOf(t, 10, 150<<20, 1)...), nil},
		{"below nothing", "log-parquet", pageOf(t, 10, -1, 1), nil},
		{"a page behind the end", "log-parquet", sound, []format.ColumnChunk{column(0, len(sound)+1)}},
		{"a page in front", "log-parquet", sound, []format.ColumnChunk{column(-5, 3)}},
		{"a header that ends early", "log-parquet", sound, []format.ColumnChunk{column(0, 20)}},
		{"a text of 2 GiB", "log-parquet", []byte{0x15, 0, 0x15, 2, 0x15, 2, 0x2c, 0x15, 2, 0x15, 0, 0x15, 0, 0x15, 0, 0x1c, 0x18, 0xff, 0xff, 0xff, 0xff, 7, 'x'}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			columns := c.columns
			if columns == nil { // each half a column
				half := len(c.pages)
				if c.name == "two columns of 150 MiB" {
					half /= 2
					columns = append(columns, column(half, half))
				}
				columns = append(columns, column(0, half))
			}
			err := checkPages(bytes.NewReader(c.pages), int64(len(c.pages)), &format.RowGroup{Columns: columns})
			code := ""
			if f := fault.As(err); f != nil {
				code = string(f.Code)
			} else if err != nil {
				code = "log-parquet"
			}
			if code != c.code {
				t.Errorf("%v, want %q", err, c.code)
			}
		})
	}
	for name, b := range map[string][]byte{
		"too short":             []byte("PAR1PAR1"),
		"longer than the file":  binary.LittleEndian.AppendUint32([]byte("PAR1"), 5),
		"a list of two billion": append(append([]byte("PAR1"), 0x19, 0xfc, 0xff, 0xff, 0xff, 0xff, 7), 7, 0, 0, 0),
	} {
		b = append(b, "PAR1"...)
		if err := checkFooter(bytes.NewReader(b), int64(len(b))); err == nil {
			t.Errorf("a footer that is %s", name)
		}
	}
}

// The length of a structure is what the library writes of it, and is found of
// nothing shorter.
func FuzzThriftLen(f *testing.F) {
	f.Add(pageOf(f, 0, 5, 5))
	f.Add(marshalThrift(f, &format.FileMetaData{Schema: []format.SchemaElement{{Name: "a"}, {Name: "b"}}, NumRows: 7, CreatedBy: "x"}))
	f.Add([]byte{0x1b, 2, 0x85, 1, 'a', 2, 'b', 4, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		n, err := thriftLen(b)
		if err != nil {
			return
		}
		if n < 1 || n > len(b) {
			t.Fatalf("%d of %d bytes", n, len(b))
		}
		if again, err := thriftLen(append(b[:n:n], 0xff)); again != n || err != nil {
			t.Fatalf("%d bytes, then %d: %v", n, again, err)
		}
		if _, err := thriftLen(b[:n-1]); err == nil {
			t.Fatalf("%d bytes are whole without the last", n)
		}
	})
}
