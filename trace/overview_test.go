package trace

import (
	"bytes"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// anyTrace draws a trace with gaps, missing samples and jitter.
func anyTrace(t *rapid.T, most int) *Trace {
	tr := &Trace{Channel: Channel{ID: rapid.StringMatching(`[a-z0-9-]{0,8}`).Draw(t, "id"), Unit: DegC}, Quantum: 0.1}
	n := rapid.IntRange(0, most).Draw(t, "n")
	steps := rapid.SliceOfN(rapid.Int64Range(1, 300_000), n, n).Draw(t, "steps")
	counts := rapid.SliceOfN(rapid.Int64Range(-500, 500), n, n).Draw(t, "counts")
	at := rapid.Int64Range(-1e9, 1e9).Draw(t, "start")
	for i := range n {
		at += steps[i]
		tr.TimesUS, tr.Counts = append(tr.TimesUS, at), append(tr.Counts, counts[i])
		if counts[i]%7 == 0 {
			tr.Missing.Set(i)
			tr.Counts[i] = 0
		}
	}
	return tr
}

// An overview keeps the extremes, the ends, and only samples of the trace;
// every stretch of three steps has its extremes within the overview's of the
// stretch and one step on either side.
func TestOverviewKeepsExtremes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tr := anyTrace(t, 1500)
		o := tr.Overview()
		if err := o.Validate(); err != nil {
			t.Fatal(err)
		}
		_, all := tr.Points(0)
		_, kept := o.Points(0)
		if len(all) == 0 {
			if len(kept) != 0 {
				t.Fatal("samples out of nothing")
			}
			return
		}
		if slices.Min(all) != slices.Min(kept) || slices.Max(all) != slices.Max(kept) || all[0] != kept[0] || all[len(all)-1] != kept[len(kept)-1] {
			t.Fatal("an end or an extreme is lost")
		}
		for i, us := range o.TimesUS {
			if k := tr.Index(us); k >= tr.Len() || tr.TimesUS[k] != us || tr.Counts[k] != o.Counts[i] || tr.Missing.Has(k) {
				t.Fatalf("sample %d of the overview is none of the trace", i)
			}
		}
		const step = OverviewSamples
		lo := rapid.IntRange(0, tr.Len()-1).Draw(t, "from")
		hi := min(lo+3*step, tr.Len()-1)
		_, part := tr.Slice(tr.TimesUS[lo], tr.TimesUS[hi]).Points(0)
		if len(part) == 0 {
			return
		}
		wider := o.Slice(tr.TimesUS[max(lo-step, 0)], tr.TimesUS[min(hi+step, tr.Len()-1)])
		_, drawn := wider.Points(0)
		if len(drawn) == 0 || slices.Min(drawn) > slices.Min(part) || slices.Max(drawn) < slices.Max(part) {
			t.Fatal("an extreme of a stretch is lost")
		}
	})
}

// A stored trace whose head was told later is, byte for byte, what coding it
// at once would have given.
func TestReheadIsEncode(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tr := anyTrace(t, 300)
		early := *tr
		early.Channel, early.Source, early.Quantum = Channel{ID: "not yet"}, "", 1
		stored, err := Encode(nil, &early)
		if err != nil {
			t.Fatal(err)
		}
		tr.Source, tr.Elapsed, tr.OffsetMin = "3f7a", rapid.Bool().Draw(t, "elapsed"), rapid.IntRange(-840, 840).Draw(t, "offset")
		want, err := Encode(nil, tr)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Rehead(nil, stored, tr)
		if err != nil || !bytes.Equal(got, want) {
			t.Fatal(err, "differs")
		}
	})
}

func TestReheadRefusesWhatIsNoTrace(t *testing.T) {
	if _, err := Rehead(nil, []byte("TVTR\x01 and no more"), &Trace{Quantum: 1}); err == nil {
		t.Error("taken")
	}
	stored, err := Encode(nil, &Trace{Quantum: 1, TimesUS: []int64{1}, Counts: []int64{2}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Rehead(nil, stored, &Trace{}); err == nil {
		t.Error("a quantum of zero was taken")
	}
}

func TestRefineKeepsValues(t *testing.T) {
	tr := &Trace{Quantum: 0.1, TimesUS: []int64{1, 2, 3, 4}, Counts: []int64{213, -4, 0, 1 << 50}}
	tr.Missing.Set(2)
	if lost := tr.Refine(100); lost != 1 {
		t.Errorf("%d samples too large, want 1", lost)
	}
	for i, want := range []float64{21.3, -0.4} {
		if v, ok := tr.Raw(i); !ok || v != want {
			t.Errorf("sample %d is %v, want %v", i, v, want)
		}
	}
	if !tr.Missing.Has(2) || !tr.Missing.Has(3) || tr.Counts[3] != 0 {
		t.Errorf("missing samples: %+v", tr)
	}
}

// A day of 10 Hz, eight channels, drawn over 1600 columns from the stored
// overviews, as a page does it.
func BenchmarkOverviewOf24hAt10Hz(b *testing.B) {
	in := cookLog(864_000, 100_000, 3000, 1000, 0.1)
	o := in.Overview()
	stored, err := Encode(nil, o)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		for range 8 {
			t, err := Decode(stored)
			if err != nil || len(t.Envelope(t.TimesUS[0], t.TimesUS[t.Len()-1], 1600, 2*OverviewSamples*100_000)) < 3000 {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(float64(len(stored))/float64(in.Len()), "bytes/sample")
}

// The same from all samples.
func BenchmarkEnvelopeOf24hAt10Hz(b *testing.B) {
	in := cookLog(864_000, 100_000, 3000, 1000, 0.1)
	stored, err := Encode(nil, in)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		for range 8 {
			t, err := Decode(stored)
			if err != nil || len(t.Envelope(t.TimesUS[0], t.TimesUS[t.Len()-1], 1600, 1_000_000)) < 3000 {
				b.Fatal(err)
			}
		}
	}
}
