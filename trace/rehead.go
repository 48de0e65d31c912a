package trace

import (
	"encoding/binary"
	"encoding/json"
	"hash/crc32"
	"math"
	"slices"
	"unicode/utf8"

	"trivet/fault"
)

// appendHead appends what a stored trace says of all its samples: flags,
// offset, quantum, channel and source.
func appendHead(dst []byte, t *Trace) ([]byte, error) {
	channel, err := json.Marshal(t.Channel)
	if err != nil {
		return dst, fault.New("trace-channel", "the channel cannot be stored").On("trace", t.Channel.ID).Wrap(err)
	}
	for _, s := range []string{t.Channel.ID, string(t.Channel.Place), string(t.Channel.Unit), t.Channel.Side, t.Channel.Sensor, t.Channel.Class, t.Channel.SourceName, t.Source} {
		if !utf8.ValidString(s) {
			return dst, fault.New("trace-channel", "the channel's text is not UTF-8").On("trace", s)
		}
	}
	flags := byte(0)
	if t.Elapsed {
		flags = flagElapsed
	}
	dst = append(dst, flags)
	dst = binary.AppendVarint(dst, int64(t.OffsetMin))
	dst = binary.LittleEndian.AppendUint64(dst, math.Float64bits(t.Quantum))
	dst = binary.AppendUvarint(dst, uint64(len(channel)))
	dst = append(dst, channel...)
	dst = binary.AppendUvarint(dst, uint64(len(t.Source)))
	return append(dst, t.Source...), nil
}

// frame appends a block: what stands before the header, the header, its
// checksum and the chunks.
func frame(dst, head, body []byte) []byte {
	from := len(dst)
	dst = slices.Grow(dst, len(head)+len(body)+16)
	dst = append(dst, magic...)
	dst = append(dst, codecVersion)
	dst = binary.AppendUvarint(dst, uint64(len(head)))
	dst = append(dst, head...)
	dst = binary.LittleEndian.AppendUint32(dst, crc32.Checksum(dst[from:], castagnoli))
	return append(dst, body...)
}

// Rehead appends a stored trace with another head to dst: channel, clock,
// offset, quantum and source are those of t, whose samples do not matter. The
// counts stay, so that another quantum gives them other values; see
// [Trace.Refine]. A long log is stored in pieces before its hash and its
// finest decimals are known; this tells them later without coding anything
// again.
func Rehead(dst, stored []byte, t *Trace) ([]byte, error) {
	if _, err := Open(stored); err != nil {
		return dst, err
	}
	if !(t.Quantum > 0) || math.IsInf(t.Quantum, 0) {
		return dst, fault.New("trace-quantum", "the value of one count must be finite and above zero, not %v", t.Quantum).On("trace", t.Channel.ID)
	}
	r := &reader{b: stored[5:]}
	old := &reader{b: r.bytes(r.uvarint())}
	r.bytes(4)
	old.byte()
	old.varint()
	old.bytes(8)
	old.bytes(old.uvarint())
	old.bytes(old.uvarint())
	head, err := appendHead(nil, t)
	if err != nil {
		return dst, err
	}
	return frame(dst, append(head, old.b...), r.b), nil
}

// Refine makes the quantum a whole number of times smaller and the counts as
// much larger, so that every value stays. A count that would pass 2⁵³ becomes
// missing; Refine returns how many did.
func (t *Trace) Refine(times int64) (lost int) {
	for i, c := range t.Counts {
		if c > mostCount/times || c < -mostCount/times {
			t.Counts[i] = 0
			t.Missing.Set(i)
			lost++
			continue
		}
		t.Counts[i] = c * times
	}
	t.Quantum /= float64(times)
	return lost
}
