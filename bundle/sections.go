package bundle

import (
	"encoding/binary"
	"hash/maphash"
	"slices"

	"trivet/bench"
	"trivet/fault"
	"trivet/trace"
)

// timesKey tells the times of traces apart; those of one table are compared
// once more when it is written.
type timesKey struct {
	elapsed bool
	samples int
	hash    uint64
}

// hashedTimes makes keys. Traces that share the memory of their times share
// the work.
type hashedTimes struct {
	seed  maphash.Seed
	last  []int64
	hash  uint64
	bytes []byte
}

func (h *hashedTimes) of(t *bench.LongTrace) (timesKey, error) {
	key := timesKey{elapsed: t.Elapsed, samples: t.Samples}
	var sum maphash.Hash
	sum.SetSeed(h.seed)
	for i := range t.Sections {
		s, err := t.Section(i)
		if err != nil {
			return key, err
		}
		if t.Sections == 1 {
			if n := len(s.TimesUS); n > 0 && n == len(h.last) && &s.TimesUS[0] == &h.last[0] {
				key.hash = h.hash
				return key, nil
			}
			h.last = s.TimesUS
		}
		h.bytes = h.bytes[:0]
		for _, us := range s.TimesUS {
			h.bytes = binary.LittleEndian.AppendUint64(h.bytes, uint64(us))
		}
		sum.Write(h.bytes) // never fails
	}
	key.hash = sum.Sum64()
	if t.Sections == 1 {
		h.hash = key.hash
	}
	return key, nil
}

// sections reads on through a trace.
type sections struct {
	from *bench.LongTrace
	next int // section
	t    *trace.Trace
	at   int // sample of it that comes next
	last int64
	any  bool
}

// fill has samples that were not taken, unless none are left.
func (s *sections) fill() error {
	for s.t == nil || s.at == s.t.Len() {
		if s.next == s.from.Sections {
			s.t, s.at = &trace.Trace{}, 0
			return nil
		}
		t, err := s.from.Section(s.next)
		if err != nil {
			return err
		}
		if err := t.Validate(); err != nil {
			return err
		}
		if s.any && t.Len() > 0 && t.TimesUS[0] <= s.last {
			return fault.New("trace-order", "a section of the samples is not later than the one before").On("trace", t.Channel.ID)
		}
		s.next++
		s.t, s.at = t, 0
		if n := t.Len(); n > 0 {
			s.last, s.any = t.TimesUS[n-1], true
		}
	}
	return nil
}

// together takes the samples that all of the traces have in memory, which
// are those of the same times; nil at the end.
func together(in []*sections) ([]trace.Trace, error) {
	n := -1
	for _, s := range in {
		if err := s.fill(); err != nil {
			return nil, err
		}
		if left := s.t.Len() - s.at; n < 0 || left < n {
			n = left
		}
	}
	part := make([]trace.Trace, len(in))
	for j, s := range in {
		p := &part[j]
		*p = *s.t
		p.TimesUS, p.Counts, p.Missing = s.t.TimesUS[s.at:s.at+n], s.t.Counts[s.at:s.at+n], s.t.Missing.Slice(s.at, s.at+n)
		if n == 0 && s.t.Len() > 0 || !slices.Equal(p.TimesUS, part[0].TimesUS) {
			return nil, fault.New("trace-shape", "the samples of %s and %s were taken to have the same times, and have not", p.Channel.ID, part[0].Channel.ID)
		}
		s.at += n
	}
	if n <= 0 {
		return nil, nil
	}
	return part, nil
}
