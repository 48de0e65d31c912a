package bench

import (
	"context"
	"fmt"
	"time"

	"trivet/answer"
	"trivet/study"
)

// AnswerOptions steer [Answer].
type AnswerOptions struct {
	AfterBlock int // use only the first so many blocks; 0 all
	Now        time.Time
	Progress   Progress
	// NoLook leaves the history alone; whoever shows the answer to a person
	// calls [NoteLook] then.
	NoLook bool
	// Record is the study as it was just read, so that it is not read again;
	// nil reads it.
	Record *Record
}

// Answered is an answer with the record it came from.
type Answered struct {
	Record  *Record
	Results []answer.CookResult
	Answer  *answer.Answer
}

// Answer measures the cooks of a study and answers its questions. A look at
// the answer of a sealed plan before its planned number is reached enters
// the history.
func Answer(ctx context.Context, rd Reader, studyID string, o AnswerOptions) (*Answered, error) {
	rec, err := o.Record, error(nil)
	if rec == nil {
		rec, err = rd.Record(ctx, studyID)
	}
	if err != nil {
		return nil, err
	}
	names := rec.asked()
	out := &Answered{Record: rec}
	if len(names) > 0 {
		if out.Results, err = measured(ctx, rd, rec, o.Progress, true, names...); err != nil {
			return nil, err
		}
		found, err := Quality(ctx, rd, rec, o.Progress)
		if err != nil {
			return nil, err
		}
		for i := range found {
			out.Results[i].Findings = found[i].Findings
		}
	}
	changes, err := SealChanges(rec)
	if err != nil {
		return nil, err
	}
	var sealed map[string]study.SealedQuestion
	if rec.Seal != nil {
		if sealed, err = study.SealedQuestions(*rec.Seal, rec.Study); err != nil {
			return nil, err
		}
	}
	out.Answer, err = answer.Study(answer.Input{Study: rec.Study, Seal: rec.Seal, Changes: changes, Sealed: sealed,
		Cooks: out.Results, Looks: looks(rec), AfterBlock: o.AfterBlock})
	if err != nil {
		return nil, err
	}
	if o.NoLook {
		return out, nil
	}
	return out, NoteLook(ctx, rd, rec, o.Now)
}

// looks counts the entries of the history that looked early.
func looks(rec *Record) int {
	n := 0
	for _, e := range rec.Events {
		if e.Kind == study.EventLooked {
			n++
		}
	}
	return n
}

// NoteLook adds a look to the history when it counts: the plan is sealed and
// its number is not reached.
func NoteLook(ctx context.Context, rd Reader, rec *Record, now time.Time) error {
	nb, ok := rd.(Notebook)
	planned := rec.Study.Blocks.Count
	done := len(rec.Blocks())
	if !ok || !Writable(rd) || rec.Seal == nil || done == 0 || done >= planned {
		return nil
	}
	return nb.AppendEvents(ctx, rec.Study.ID, study.Event{At: now, Study: rec.Study.ID, Kind: study.EventLooked,
		What: fmt.Sprintf("looked at the answer with %d of %d planned blocks", done, planned)})
}

// SealChanges lists the sealed parts that differ from the seal, in words.
func SealChanges(rec *Record) ([]string, error) {
	if rec.Seal == nil {
		return nil, nil
	}
	now, err := study.SealNow(rec.Study, rec.CookFiles, rec.Seal.At)
	if err != nil {
		return nil, err
	}
	changes, err := study.Compare(*rec.Seal, now)
	if err != nil {
		return nil, err
	}
	out := []string{}
	for _, c := range changes {
		out = append(out, c.String())
	}
	return out, nil
}
