package store

import (
	"context"
	"path/filepath"
	"testing"

	"trivet/bench"
	"trivet/study"
)

// Two openings of one notebook, as two processes have them, read a study and
// change it: the second to save is told, and nothing of the first is lost.
func TestSecondEditorIsTold(t *testing.T) {
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "shared.trivet")
	open := func(f func(context.Context, string, Options) (*Notebook, error)) *Notebook {
		n, err := f(ctx, path, Options{Now: clock})
		must(t, err)
		t.Cleanup(func() { n.Close() })
		return n
	}
	mine, theirs := open(Create), open(Open)
	st, err := bench.Create(ctx, mine, "Shared", noon)
	must(t, err)
	before, err := mine.Version(ctx, st.ID)
	must(t, err)

	read, err := mine.Record(ctx, st.ID)
	must(t, err)
	edit := func(n *Notebook, rec *bench.Record, says string) error {
		doc, err := study.ReadDocument("study.yaml", rec.Document)
		must(t, err)
		must(t, doc.Set("claim.says", says))
		_, err = bench.Edit(ctx, n, rec, doc.Bytes(), rec.CookFiles, noon)
		return err
	}
	must(t, edit(theirs, read, "theirs"))
	wantCode(t, edit(mine, read, "mine"), "edited-meanwhile")
	must(t, edit(mine, read, "theirs")) // the same words clash with nothing

	now, err := mine.Record(ctx, st.ID)
	must(t, err)
	if now.Study.Claim.Says != "theirs" {
		t.Errorf("the claim says %q", now.Study.Claim.Says)
	}
	after, err := mine.Version(ctx, st.ID)
	must(t, err)
	if after.Revision != before.Revision+1 || after.Title != "Shared" {
		t.Errorf("version %+v after one change of %+v", after, before)
	}
	must(t, edit(mine, now, "mine after all"))
	_, err = mine.Version(ctx, "none")
	wantCode(t, err, "study-unknown")
}
