package logfile

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"

	"trivet/fault"
)

// The library gives a page, a text and a list the memory that their lengths
// ask for, and reads one page of each column at a time. So lengths are looked
// at first.
const (
	mostFooterBytes = 16 << 20
	// mostPageBytes bounds what the largest pages of all columns of a row group
	// take together, with the largest dictionaries.
	mostPageBytes = 256 << 20
	// mostPageHeader bounds a header, whose statistics may hold two texts.
	mostPageHeader = 1 << 20
	// valueBytes is what a value takes at least once it is decoded.
	valueBytes = 8
)

// checkFooter checks the footer's length, which the library takes as it stands
// (Apache Parquet, File Format: it is followed by four bytes "PAR1"), and the
// lengths in it.
func checkFooter(at io.ReaderAt, size int64) error {
	var tail [8]byte
	if size < 12 {
		return errors.New("it is too short")
	}
	if n, err := at.ReadAt(tail[:], size-8); n < len(tail) {
		return err
	}
	n := int64(binary.LittleEndian.Uint32(tail[:]))
	switch {
	case n > size-12:
		return errors.New("its footer is longer than the file")
	case n > mostFooterBytes:
		return fault.New("log-size", "the footer of the Parquet file has more than %d bytes", mostFooterBytes).WithFix("write the file with larger row groups, or export the log as CSV")
	}
	footer := make([]byte, n)
	if k, err := at.ReadAt(footer, size-8-n); k < len(footer) {
		return err
	}
	_, err := thriftLen(footer)
	return err
}

// checkPages bounds what the pages of a row group ask of the memory.
func checkPages(at io.ReaderAt, size int64, group *format.RowGroup) error {
	total := int64(0)
	var buf []byte
	for i := range group.Columns {
		c := &group.Columns[i].MetaData
		from := c.DataPageOffset
		if d := c.DictionaryPageOffset; d != 0 {
			from = d
		}
		to := from + c.TotalCompressedSize
		if from < 0 || to < from || to > size {
			return fmt.Errorf("column %d stands outside of the file", i+1)
		}
		var page, dictionary int64
		for from < to {
			var h format.PageHeader
			n, err := pageHeader(at, from, to, &buf, &h)
			if err != nil {
				return err
			}
			if h.CompressedPageSize < 0 || h.UncompressedPageSize < 0 {
				return errors.New("a page has a length below nothing")
			}
			takes := int64(h.CompressedPageSize) + int64(h.UncompressedPageSize)
			if h.DictionaryPageHeader.Valid {
				dictionary = max(dictionary, takes+valueBytes*int64(h.DictionaryPageHeader.V.NumValues))
			} else {
				page = max(page, takes+valueBytes*max(int64(h.DataPageHeader.V.NumValues), int64(h.DataPageHeaderV2.V.NumValues)))
			}
			from += n + int64(h.CompressedPageSize)
		}
		if total += page + dictionary; total > mostPageBytes {
			return fault.New("log-size", "the pages of a row group take more than %d bytes together", mostPageBytes).
				WithFix("write the file with smaller pages or row groups, or export the log as CSV")
		}
	}
	return nil
}

// pageHeader reads a header and tells its length.
func pageHeader(at io.ReaderAt, from, to int64, buf *[]byte, h *format.PageHeader) (int64, error) {
	for size := int64(256); ; size *= 16 {
		size = min(size, mostPageHeader, to-from)
		if int64(len(*buf)) < size {
			*buf = make([]byte, size)
		}
		b := (*buf)[:size]
		if n, err := at.ReadAt(b, from); n < len(b) {
			return 0, err
		}
		n, err := thriftLen(b)
		if errors.Is(err, errThriftEnd) && size < min(mostPageHeader, to-from) {
			continue
		}
		if err != nil {
			return 0, err
		}
		var p thrift.CompactProtocol
		return int64(n), thrift.Unmarshal(&p, b[:n], h)
	}
}
