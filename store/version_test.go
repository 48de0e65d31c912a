package store

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

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

// The head of a study is the study but for what grows with its cooks, and one
// cook is found without the others.
func TestHead(t *testing.T) {
	ctx := context.Background()
	n := withCook(t)
	all, err := n.Studies(ctx)
	must(t, err)
	id := all[0].ID
	rec, err := n.Record(ctx, id)
	must(t, err)
	h, err := n.Head(ctx, id)
	must(t, err)
	want := *rec.Study
	want.Pieces, want.Design.RunOrder = nil, nil
	if d := cmp.Diff(&want, h.Study, cmpopts.EquateEmpty()); d != "" {
		t.Errorf("the head's study differs (-record +head):\n%s", d)
	}
	if string(h.Document) != string(rec.Document) || h.Cooks != len(rec.Cooks) || h.Trashed || len(h.Record.Cooks)+len(h.Events) != 0 {
		t.Errorf("%d cooks, trashed %v, of a study of %d", h.Cooks, h.Trashed, len(rec.Cooks))
	}
	for _, c := range rec.Cooks {
		for _, by := range []string{c.Label, c.ID} {
			got, err := n.FindCook(ctx, id, by)
			must(t, err)
			if d := cmp.Diff(c, got, cmpopts.EquateEmpty()); d != "" {
				t.Errorf("cook %q differs (-record +found):\n%s", by, d)
			}
		}
	}
	if c, err := n.FindCook(ctx, id, "nobody"); err != nil || c.ID != "" {
		t.Errorf("an unknown cook: %+v, %v", c, err)
	}
	must(t, bench.Trash(ctx, n, id, noon))
	if h, err = n.Head(ctx, id); err != nil || !h.Trashed {
		t.Errorf("in the trash: %v, %v", h.Trashed, err)
	}
	_, err = n.Head(ctx, "none")
	wantCode(t, err, "study-unknown")
}
