package store

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"

	"trivet/bench"
	"trivet/study"
)

func TestPhotosAreKeptUntilNobodyNamesThem(t *testing.T) {
	ctx := context.Background()
	n := newNotebook(t)
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, nil, nil))
	a, b := study.Cook{ID: "a", Label: "a"}, study.Cook{ID: "b", Label: "b"}
	must(t, n.PutCook(ctx, "s", a))
	must(t, n.PutCook(ctx, "s", b))
	picture := rawOf("photo", []byte("the bytes of a picture"))
	p := study.Photo{ID: "p1", SHA256: picture.SHA256, Type: "image/jpeg", WidthPx: 4, HeightPx: 3, Caption: "off the heat", Alt: "a chop", TakenAt: noon, AddedAt: noon}
	q := p
	q.ID = "p2"
	event := study.Event{At: noon, Kind: study.EventChanged, What: "a photo was added"}
	must(t, n.AddPhoto(ctx, "s", "a", p, picture.Bytes, event))
	must(t, n.AddPhoto(ctx, "s", "a", p, picture.Bytes, event)) // sent again by a shaky connection
	must(t, n.AddPhoto(ctx, "s", "b", q, picture.Bytes))

	rec, err := n.Record(ctx, "s")
	must(t, err)
	if d := cmp.Diff([]study.Photo{p}, rec.Cooks[0].Photos); d != "" || len(rec.Events) != 1 {
		t.Errorf("%d events, photos:\n%s", len(rec.Events), d)
	}
	has := func(want bool) {
		t.Helper()
		got, err := n.Raw(ctx, picture.SHA256)
		if (err == nil) != want || want && string(got.Bytes) != string(picture.Bytes) {
			t.Errorf("the picture: %v, %v", got, err)
		}
	}
	has(true)
	if logs, err := n.RawOf(ctx, "s"); err != nil || len(logs) != 0 {
		t.Errorf("a photo is no log: %v %v", logs, err)
	}

	// Another picture under the same id is refused, and so is one that is not
	// what its hash says.
	other := p
	other.Caption = "another"
	wantCode(t, n.AddPhoto(ctx, "s", "a", other, picture.Bytes), "id-conflict")
	other.ID = "p3"
	wantCode(t, n.AddPhoto(ctx, "s", "a", other, []byte("else")), "raw-hash")

	a.Photos = []study.Photo{p}
	a.Photos[0].TrashedAt = noon
	must(t, n.PutCook(ctx, "s", a))
	has(true) // in the trash
	a.Photos = nil
	must(t, n.PutCook(ctx, "s", a))
	has(true) // the other cook shows it
	must(t, n.PutCook(ctx, "s", b))
	has(false)
}

// What lies in the trash here makes no conflict with the package that was
// published without it.
func TestAPackageIsTheSameStudyWhateverLiesInTheTrash(t *testing.T) {
	ctx := context.Background()
	picture := rawOf("photo", []byte("the bytes of a picture"))
	shown := study.Photo{ID: "p1", SHA256: picture.SHA256, AddedAt: noon}
	thrown := study.Photo{ID: "p2", SHA256: "00", AddedAt: noon, TrashedAt: noon}
	record := func(photos ...study.Photo) *bench.Record {
		return &bench.Record{Study: &study.Study{ID: "s"}, Created: noon, Updated: noon, Cooks: []study.Cook{{ID: "a", Label: "a", Photos: photos}}}
	}
	n := newNotebook(t)
	must(t, n.PutImported(ctx, record(shown, thrown), nil, []bench.RawFile{picture}))
	must(t, n.PutImported(ctx, record(shown), nil, []bench.RawFile{picture}))
	if logs, err := n.RawOf(ctx, "s"); err != nil || len(logs) != 0 {
		t.Errorf("a photo is no log: %v %v", logs, err)
	}
	if got, err := n.Raw(ctx, picture.SHA256); err != nil || string(got.Bytes) != string(picture.Bytes) {
		t.Errorf("%v %v", got, err)
	}
	shown.Caption = "another"
	wantCode(t, n.PutImported(ctx, record(shown), nil, nil), "id-conflict")
}
