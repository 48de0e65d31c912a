package store

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// noon is the clock of the tests.
var noon = time.Date(2026, 5, 1, 12, 0, 0, 250_000_000, time.FixedZone("", 2*3600))

func clock() time.Time { return noon }

func newNotebook(t testing.TB) *Notebook {
	t.Helper()
	n, err := Create(context.Background(), filepath.Join(t.TempDir(), "notebook.trivet"), Options{Now: clock})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { n.Close() })
	return n
}

// wantCode fails unless err is a fault with the code.
func wantCode(t testing.TB, err error, code fault.Code) {
	t.Helper()
	if e := fault.As(err); e == nil || e.Code != code {
		t.Fatalf("error %v, want code %s", err, code)
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func TestStudyComesOutUnchanged(t *testing.T) {
	n := newNotebook(t)
	ctx := context.Background()
	serial := 0
	rapid.Check(t, func(rt *rapid.T) {
		serial++
		s := anyStudy.Draw(rt, "study")
		s.ID = fmt.Sprintf("study-%d", serial)
		want := &bench.Record{
			Document:  rapid.SliceOf(rapid.Byte()).Draw(rt, "document"),
			CookFiles: anyCookFiles.Draw(rt, "cook files"),
			Study:     &s, Created: noon, Updated: noon,
		}
		if err := n.PutStudy(ctx, &s, want.Document, want.CookFiles); err != nil {
			rt.Fatal(err)
		}
		for i := range rapid.IntRange(0, 3).Draw(rt, "cooks") {
			k := cookOf(rt, i)
			want.Cooks = append(want.Cooks, k)
			if err := n.PutCook(ctx, s.ID, k); err != nil {
				rt.Fatal(err)
			}
		}
		got, err := n.Record(ctx, s.ID)
		if err != nil {
			rt.Fatal(err)
		}
		if d := cmp.Diff(want, got, unchanged); d != "" {
			rt.Fatalf("record changed (-put +got):\n%s", d)
		}
	})
}

func TestTracesComeOutUnchanged(t *testing.T) {
	n := newNotebook(t)
	ctx := context.Background()
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, nil, nil))
	serial := 0
	rapid.Check(t, func(rt *rapid.T) {
		serial++
		k := study.Cook{ID: newID(rt), Label: fmt.Sprint(serial)}
		if err := n.PutCook(ctx, "s", k); err != nil {
			rt.Fatal(err)
		}
		raw := anyRaw.Draw(rt, "raw")
		var want []trace.Trace
		for range rapid.IntRange(0, 3).Draw(rt, "channels") {
			want = append(want, traceOf(rt, raw.SHA256))
		}
		if err := n.PutTraces(ctx, "s", k.ID, want, []bench.RawFile{raw}); err != nil {
			rt.Fatal(err)
		}
		got, err := n.Traces(ctx, "s", k.ID)
		if err != nil {
			rt.Fatal(err)
		}
		if d := cmp.Diff(want, got, unchanged); d != "" {
			rt.Fatalf("traces changed (-put +got):\n%s", d)
		}
		file, err := n.Raw(ctx, raw.SHA256)
		if err != nil {
			rt.Fatal(err)
		}
		if string(file.Bytes) != string(raw.Bytes) {
			rt.Fatalf("log changed: %q, was %q", file.Bytes, raw.Bytes)
		}
	})
}
