package bench

import (
	"context"
	"time"

	"trivet/fault"
	"trivet/study"
)

// Seal seals a study's plan as it stands. It is refused once a planned cook
// has been recorded: a seal must be older than the data.
func Seal(ctx context.Context, nb Notebook, id string, now time.Time) (*study.Seal, error) {
	rec, err := nb.Record(ctx, id)
	if err != nil {
		return nil, err
	}
	if rec.Seal != nil {
		return nil, fault.New("sealed-already", "the study was sealed on %s", rec.Seal.At.Format("2006-01-02 15:04 MST")).
			WithFix("a seal is set once; what changes later is shown beside it")
	}
	for _, c := range rec.Cooks {
		if c.Role != study.Pilot {
			return nil, fault.New("seal-too-late", "cook %s was recorded before the seal", c.Label).
				WithFix("seal before the first planned cook; cooks made to try things out get role: pilot")
		}
	}
	seal, err := study.SealNow(rec.Study, rec.CookFiles, now)
	if err != nil {
		return nil, err
	}
	return &seal, nb.PutSeal(ctx, id, seal, study.Event{At: now, Study: id, Kind: study.EventSealed,
		What: "the plan was sealed as " + seal.Hash})
}
