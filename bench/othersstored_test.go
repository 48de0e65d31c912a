package bench

import (
	"context"
	"testing"

	"trivet/measure"
	"trivet/study"
	"trivet/trace"
)

// shelf keeps responses in memory and counts the cooks whose traces are read.
type shelf struct {
	ResponseStore
	Notebook
	kept map[string][]StoredResponse
	read int
}

func (s *shelf) Traces(context.Context, string, string) ([]trace.Trace, error) {
	s.read++
	return nil, nil
}

func (s *shelf) Responses(_ context.Context, _, key string) ([]StoredResponse, error) {
	return s.kept[key], nil
}

func (s *shelf) PutResponses(_ context.Context, _ string, all []StoredResponse) error {
	for _, r := range all {
		s.kept[r.Response] = append(s.kept[r.Response], r)
	}
	return nil
}

// Other definitions are kept with the values they belong to: answering again
// reads no trace. Values measured without them stand beside.
func TestOtherDefinitionsAreKept(t *testing.T) {
	c := study.Cook{ID: "c1", Label: "c1", Weighings: []study.Weighing{{Stage: study.Raw, MassG: 250, ResG: 0.1},
		{Stage: study.AtPull, MassG: 225, ResG: 0.1}, {Stage: study.AfterRest, MassG: 215, ResG: 0.1}}}
	rec := &Record{Study: &study.Study{ID: "s"}, Cooks: []study.Cook{c}}
	nb := &shelf{kept: map[string][]StoredResponse{}}
	for i := range 3 {
		got, err := measured(t.Context(), nb, rec, nil, true, "cooking_loss")
		if err != nil {
			t.Fatal(err)
		}
		want := measure.Other{Response: "cooking_loss", Definition: "with-rest", Value: 14}
		if o := got[0].Result.Others; len(o) != 1 || o[0].Definition != want.Definition || o[0].Value != want.Value {
			t.Errorf("time %d: %+v", i+1, o)
		}
		if nb.read != 1 {
			t.Errorf("time %d: traces were read %d times, want once", i+1, nb.read)
		}
	}
	plain, err := Measure(t.Context(), nb, rec, nil, "cooking_loss")
	if err != nil {
		t.Fatal(err)
	}
	if n := len(plain[0].Result.Others); n != 0 || nb.read != 2 || len(nb.kept) != 2 {
		t.Errorf("%d other definitions nobody asked for; %d readings, %d sets kept", n, nb.read, len(nb.kept))
	}
}
