package bench

import (
	"context"
	"fmt"

	"trivet/fault"
	"trivet/study"
)

// enter writes a closed tasting's counts into the document of its study,
// where the answer and every package read them. It does nothing for a tasting
// that answers no question, for methods that are not scored from counts, for
// a store that keeps no documents, and when the entry is there already.
func (r *TastingRoom) enter(ctx context.Context, t *Tasting) error {
	nb, ok := r.store.(Notebook)
	if !ok || t.Question == "" {
		return nil
	}
	res, err := r.Result(ctx, t)
	if err != nil {
		return err
	}
	if res.Scored == nil || res.Scored.Choice == nil {
		return nil
	}
	rec, err := nb.Record(ctx, t.Study)
	if err != nil {
		return err
	}
	id := "tasting-" + t.ID[:8]
	for _, have := range rec.Study.Tastings {
		if have.ID == id {
			return nil
		}
	}
	doc, err := study.ReadDocument("study.yaml", rec.Document)
	if err != nil {
		return err
	}
	c := res.Scored.Choice
	err = doc.Append("tastings", study.Fields{
		{Key: "id", Value: id}, {Key: "question", Value: t.Question}, {Key: "method", Value: c.Method},
		{Key: "n", Value: c.N}, {Key: "correct", Value: c.Correct}, {Key: "closed", Value: true},
		{Key: "note", Value: "entered when its key was revealed on " + res.ClosedAt.Format("2006-01-02 15:04 MST")},
	})
	if err != nil {
		return err
	}
	s, err := doc.Study()
	if err != nil {
		return err
	}
	return nb.PutStudy(ctx, s, doc.Bytes(), rec.CookFiles, study.Event{At: res.ClosedAt, Study: t.Study, Kind: study.EventChanged,
		What: fmt.Sprintf("the closed tasting was entered: %d correct of %d", c.Correct, c.N)})
}

// entered wraps what went wrong with the entry: the tasting itself is closed.
func entered(err error) error {
	if err == nil {
		return nil
	}
	return fault.New("tasting-entry", "the tasting is closed, and its counts could not be entered in the study document").Wrap(err).
		WithFix("enter them by hand under tastings: id, question, method, n, correct, closed: yes")
}
