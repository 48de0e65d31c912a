package publish_test

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"trivet/bench"
	"trivet/bundle"
	"trivet/publish"
)

// The published cake experiment, from its folder to a page.
func TestAssembleTheCakeExperiment(t *testing.T) {
	ctx := context.Background()
	rd, err := bundle.Open("../examples/cake", bundle.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer rd.Close()
	all, err := rd.Studies(ctx)
	if err != nil || len(all) != 1 {
		t.Fatalf("%v studies, %v", len(all), err)
	}
	made := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	got, err := bench.Answer(ctx, rd, all[0].ID, bench.AnswerOptions{Now: made})
	if err != nil {
		t.Fatal(err)
	}
	r, err := publish.Assemble(ctx, rd, got, publish.AssembleOptions{Made: made, Version: "test", Rerun: "trivet answer ."})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Questions) != 2 || len(r.Cooks) != 45 || r.AnswerLine == nil {
		t.Errorf("%d questions, %d cooks, answer line %v", len(r.Questions), len(r.Cooks), r.AnswerLine != nil)
	}
	q := r.Questions[0]
	if q.Sealed || q.Settled || len(q.Exhibits) != 3 || q.Evidence.Blocks != 15 {
		t.Errorf("%+v", q)
	}
	var page bytes.Buffer
	if err := r.WriteHTML(&page); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Recipe and the breaking of chocolate cake", "had it been sealed", "With recipe B, breakage angle was 1.5 deg lower", "trivet answer ."} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}
