package logfile

import (
	"encoding/binary"

	"trivet/fault"
)

// texts are the shared texts of a workbook by number. They are kept in
// groups, each text behind its length: the first groups in memory, those
// beyond its room in a scratch.
type texts struct {
	scratch func() (Scratch, error) // nil: there is none

	n      int
	group  []byte   // that is being filled
	held   [][]byte // in memory
	room   int      // bytes of them
	marks  []int64  // where each group in the scratch begins, and where the last ends
	file   Scratch
	read   []byte // group of the scratch that was read last
	readAt int
}

const (
	groupTexts = 64
	// mostTextBytes is how much of the shared texts stays in memory where a
	// scratch takes the rest, mostTextBytesHeld where none does.
	mostTextBytes     = 32 << 20
	mostTextBytesHeld = 256 << 20
	mostTexts         = 1 << 26
)

func (x *texts) add(text string) error {
	if x.n++; x.n > mostTexts {
		return fault.New("log-size", "the workbook has more than %d shared texts", mostTexts).WithFix("save the sheet as CSV")
	}
	x.group = append(binary.AppendUvarint(x.group, uint64(len(text))), text...)
	if x.n%groupTexts == 0 {
		return x.seal()
	}
	return nil
}

// seal puts the group that was filled away.
func (x *texts) seal() error {
	if len(x.group) == 0 {
		return nil
	}
	const header = 24 // of a slice
	if x.file == nil {
		most := mostTextBytes
		if x.scratch == nil {
			most = mostTextBytesHeld
		}
		if x.room += len(x.group) + header; x.room <= most {
			x.held = append(x.held, append(make([]byte, 0, len(x.group)), x.group...))
			x.group = x.group[:0]
			return nil
		}
		if x.scratch == nil {
			return fault.New("log-size", "the shared texts of the workbook take more than %d bytes", most).WithFix("save the sheet as CSV")
		}
		var err error
		if x.file, err = x.scratch(); err != nil {
			return readFault(err)
		}
		x.marks, x.readAt = append(x.marks, 0), -1
	}
	if _, err := x.file.Write(x.group); err != nil {
		return readFault(err)
	}
	x.marks = append(x.marks, x.marks[len(x.marks)-1]+int64(len(x.group)))
	x.group = x.group[:0]
	return nil
}

// at is the text with a number, which must be there.
func (x *texts) at(i int) (string, error) {
	b, err := x.groupOf(i / groupTexts)
	if err != nil {
		return "", err
	}
	for range i % groupTexts {
		n, k := binary.Uvarint(b)
		b = b[k+int(n):]
	}
	n, k := binary.Uvarint(b)
	return string(b[k : k+int(n)]), nil
}

func (x *texts) groupOf(g int) ([]byte, error) {
	if g < len(x.held) {
		return x.held[g], nil
	}
	g -= len(x.held)
	if g == x.readAt {
		return x.read, nil
	}
	n := int(x.marks[g+1] - x.marks[g])
	if cap(x.read) < n {
		x.read = make([]byte, n)
	}
	x.read, x.readAt = x.read[:n], -1
	if k, err := x.file.ReadAt(x.read, x.marks[g]); k < n {
		return nil, readFault(err)
	}
	x.readAt = g
	return x.read, nil
}

func (x *texts) close() {
	if x.file != nil {
		x.file.Close()
	}
}
