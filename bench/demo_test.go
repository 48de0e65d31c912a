package bench_test

import (
	"bytes"
	"testing"

	"github.com/google/go-cmp/cmp"

	"trivet/bench"
	"trivet/logfile"
	"trivet/study"
	"trivet/trace"
)

func TestDemoIsTheSameEachTime(t *testing.T) {
	a, err := bench.MakeDemo(nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := bench.MakeDemo(nil)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Plan, b.Plan) || len(a.Cooks) != len(b.Cooks) {
		t.Fatal("two demos differ")
	}
	for i := range a.Cooks {
		if !bytes.Equal(a.Cooks[i].Log, b.Cooks[i].Log) {
			t.Errorf("log of %s differs", a.Cooks[i].Cook.Label)
		}
	}
	for _, doc := range [][]byte{a.Plan, a.Tasted} {
		s, err := study.Parse("study.yaml", doc)
		if err != nil {
			t.Fatal(err)
		}
		if !s.Invented {
			t.Error("the demo does not say that it is invented")
		}
	}
	before, err := sealOf(a.Plan, a.CookFiles)
	if err != nil {
		t.Fatal(err)
	}
	after, err := sealOf(a.Tasted, a.CookFiles)
	if err != nil {
		t.Fatal(err)
	}
	if before != after {
		t.Error("entering the tasting's counts changed the sealed plan")
	}
}

func sealOf(doc []byte, files map[string][]byte) (string, error) {
	s, err := study.Parse("study.yaml", doc)
	if err != nil {
		return "", err
	}
	b, err := study.Canonical(s, files)
	return string(b), err
}

// The demo's logs, with two loggers' ways of writing, load without a problem
// and take less than two bytes a sample when stored.
func TestDemoLogsLoadWholeAndStoreSmall(t *testing.T) {
	d, err := bench.MakeDemo(nil)
	if err != nil {
		t.Fatal(err)
	}
	samples, stored := 0, 0
	for _, c := range d.Cooks {
		log, err := logfile.Load(bytes.NewReader(c.Log), logfile.LoadOptions{})
		if err != nil {
			t.Fatalf("%s: %v", c.LogName, err)
		}
		if n := len(log.Account.Problems); n > 0 || log.Account.Kept != log.Account.Rows {
			t.Errorf("%s: %d problems: %v", c.LogName, n, log.Account.Problems)
		}
		places := map[trace.Place]int{}
		for _, tr := range log.Traces {
			places[tr.Channel.Place]++
			b, err := trace.Encode(nil, tr)
			if err != nil {
				t.Fatal(err)
			}
			samples += tr.Len()
			stored += len(b)
		}
		if places[trace.Core] != 1 || places[trace.Depth] != 4 || places[trace.Surface] != 2 || places[trace.Pan] != 1 {
			t.Errorf("%s: channels understood as %v", c.LogName, places)
		}
	}
	per := float64(stored) / float64(samples)
	t.Logf("%d samples in %d bytes: %.2f bytes a sample", samples, stored, per)
	if per >= 2 {
		t.Errorf("%.2f bytes a sample, want under 2", per)
	}
}

// The demo's run order is the one that anybody draws from the seed that its
// study records.
func TestTheDemosOrderComesFromItsSeed(t *testing.T) {
	d, err := bench.MakeDemo(nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := study.Parse("study.yaml", d.Plan)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := bench.Deal(s, bench.DealOptions{Seed: s.Design.Seed})
	if err != nil {
		t.Fatal(err)
	}
	var drawn []study.RunSlot
	for _, x := range plan.Slots {
		drawn = append(drawn, study.RunSlot{Order: x.Order, Block: x.Block, Piece: x.Piece, Treatment: x.Treatment, Code: x.Code})
	}
	if diff := cmp.Diff(s.Design.RunOrder, drawn); diff != "" || string(plan.Kind) != s.Design.Kind {
		t.Errorf("drawn again (-demo +drawn):\n%s", diff)
	}
}
