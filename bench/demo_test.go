package bench_test

import (
	"bytes"
	"testing"

	"trivet/answer"
	"trivet/bench"
	"trivet/measure"
	"trivet/study"
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
		if _, err := study.Canonical(s, a.CookFiles); err != nil {
			t.Error(err)
		}
	}
	_, _ = answer.Study, measure.Cook
}
