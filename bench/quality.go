package bench

import (
	"context"
	"runtime"

	"golang.org/x/sync/errgroup"

	"trivet/measure"
	"trivet/study"
)

// CookFindings is what is doubtful in one cook.
type CookFindings struct {
	Cook     study.Cook        `json:"-"`
	Label    string            `json:"cook"`
	Findings []measure.Finding `json:"findings"`
}

// Quality reports what is doubtful in every cook of a record, in the
// record's order. Reports that the notebook stored for the same inputs are
// taken from there, and new ones are stored.
func Quality(ctx context.Context, rd Reader, rec *Record, progress Progress) ([]CookFindings, error) {
	found, err := remembered(ctx, rd, rec, qualityKey, rec.watched(), progress, func(in measure.Input) ([]measure.Finding, error) {
		return measure.Quality(in, rec.Study), nil
	})
	if err != nil {
		return nil, err
	}
	out := make([]CookFindings, len(found))
	for i, c := range rec.Cooks {
		out[i] = CookFindings{Cook: c, Label: c.Label, Findings: found[i]}
	}
	return out, nil
}

// qualityKey is what quality reports are stored under; no response is called
// so.
const qualityKey = "(quality)"

// watched is what a quality report looks at beside the cook itself.
func (r *Record) watched() any {
	return struct {
		Controlled []study.Control
		Asked      []string
	}{r.Study.Controlled, r.asked()}
}

// CookMarks are the marks that the traces of a cook offer.
type CookMarks struct {
	Input measure.Input
	Marks []study.Mark
}

// OfferMarks reads the events of every cook from its traces and offers those
// that nobody entered.
func OfferMarks(ctx context.Context, rd Reader, rec *Record, progress Progress) ([]CookMarks, error) {
	out := make([]CookMarks, len(rec.Cooks))
	err := eachCook(ctx, rd, rec, progress, func(i int, in measure.Input) error {
		out[i] = CookMarks{Input: in, Marks: measure.OfferMarks(in)}
		return nil
	})
	return out, err
}

// AcceptMarks adds offered marks to a cook. Id is asked for each mark.
func AcceptMarks(ctx context.Context, nb Notebook, studyID string, c CookMarks, id func(m study.Mark) string, events ...study.Event) (study.Cook, error) {
	for i := range c.Marks {
		c.Marks[i].ID = id(c.Marks[i])
	}
	cook := measure.AcceptMarks(c.Input, c.Marks)
	return cook, nb.PutCook(ctx, studyID, cook, events...)
}

// eachCook reads the traces of every cook and hands them to f, several at a
// time.
func eachCook(ctx context.Context, rd Reader, rec *Record, progress Progress, f func(i int, in measure.Input) error) error {
	pieces := map[string]study.Piece{}
	for _, p := range rec.Study.Pieces {
		pieces[p.Label] = p
	}
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, c := range rec.Cooks {
		g.Go(func() error {
			traces, err := rd.Traces(ctx, rec.Study.ID, c.ID)
			if err != nil {
				return err
			}
			return f(i, rec.input(c, pieces[c.Piece], traces))
		})
		progress.Report(i, len(rec.Cooks))
	}
	if err := g.Wait(); err != nil {
		return err
	}
	progress.Report(len(rec.Cooks), len(rec.Cooks))
	return nil
}
