package logfile

import (
	"encoding/binary"
	"errors"
)

var (
	errThriftEnd = errors.New("a structure ends early")
	errThrift    = errors.New("a structure is not well formed")
)

// mostThriftStructs and mostThriftDepth bound what a few bytes may ask of a
// decoder.
const (
	mostThriftStructs = 1 << 19
	mostThriftDepth   = 32
)

// thriftLen is the length of the structure at the start of b in Thrift's
// compact protocol (Apache Thrift, Thrift Compact protocol encoding). Every
// length in it lies within b, so that a decoder is not asked for more memory
// than the bytes account for.
func thriftLen(b []byte) (int, error) {
	w := thriftWalk{b: b}
	err := w.structure(0)
	return w.at, err
}

type thriftWalk struct {
	b           []byte
	at, structs int
}

// Types of the compact protocol.
const (
	thriftTrue = iota + 1
	thriftFalse
	thriftByte
	thriftI16
	thriftI32
	thriftI64
	thriftDouble
	thriftBinary
	thriftList
	thriftSet
	thriftMap
	thriftStruct
)

func (w *thriftWalk) structure(depth int) error {
	if w.structs++; depth > mostThriftDepth || w.structs > mostThriftStructs {
		return errThrift
	}
	for {
		h, err := w.byte()
		if err != nil || h == 0 {
			return err
		}
		if h>>4 == 0 { // the field's number is written out
			if _, err := w.varint(); err != nil {
				return err
			}
		}
		if t := h & 0xf; t != thriftTrue && t != thriftFalse { // a truth value is its type
			if err := w.value(t, depth); err != nil {
				return err
			}
		}
	}
}

func (w *thriftWalk) value(t byte, depth int) error {
	switch t {
	case thriftTrue, thriftFalse, thriftByte:
		return w.skip(1)
	case thriftI16, thriftI32, thriftI64:
		_, err := w.varint()
		return err
	case thriftDouble:
		return w.skip(8)
	case thriftBinary:
		n, err := w.varint()
		if err != nil {
			return err
		}
		return w.skip(n)
	case thriftList, thriftSet:
		h, err := w.byte()
		if err != nil {
			return err
		}
		n := uint64(h >> 4)
		if n == 15 {
			if n, err = w.varint(); err != nil {
				return err
			}
		}
		return w.values(n, depth, h&0xf)
	case thriftMap:
		n, err := w.varint()
		if err != nil || n == 0 {
			return err
		}
		h, err := w.byte()
		if err != nil {
			return err
		}
		return w.values(n, depth, h>>4, h&0xf)
	case thriftStruct:
		return w.structure(depth + 1)
	}
	return errThrift
}

// values passes n elements of one or two types, each of a byte at least.
func (w *thriftWalk) values(n uint64, depth int, types ...byte) error {
	if n > uint64(len(w.b)-w.at) {
		return errThriftEnd
	}
	if depth >= mostThriftDepth {
		return errThrift
	}
	for range n {
		for _, t := range types {
			if err := w.value(t, depth+1); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *thriftWalk) byte() (byte, error) {
	if w.at == len(w.b) {
		return 0, errThriftEnd
	}
	w.at++
	return w.b[w.at-1], nil
}

func (w *thriftWalk) varint() (uint64, error) {
	v, n := binary.Uvarint(w.b[w.at:])
	switch {
	case n == 0:
		return 0, errThriftEnd
	case n < 0:
		return 0, errThrift
	}
	w.at += n
	return v, nil
}

func (w *thriftWalk) skip(n uint64) error {
	if n > uint64(len(w.b)-w.at) {
		return errThriftEnd
	}
	w.at += int(n)
	return nil
}
