package store

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// withCook returns a notebook holding study "s" with cook "k".
func withCook(t testing.TB) *Notebook {
	t.Helper()
	n := newNotebook(t)
	must(t, n.PutStudy(context.Background(), &study.Study{ID: "s"}, []byte("study: s\n"), nil))
	must(t, n.PutCook(context.Background(), "s", study.Cook{ID: "k", Label: "L01"}))
	return n
}

// Every put repeated changes nothing and appends no event: a client that
// does not know whether its request arrived sends it again.
func TestRetriesAreHarmless(t *testing.T) {
	ctx := context.Background()
	n := withCook(t)
	raw := rawOf("log.csv", []byte("a,b\r\n1,2\r\n"))
	samples := trace.Trace{Channel: trace.Channel{ID: "core"}, TimesUS: []int64{1, 2}, Counts: []int64{5, 6}, Quantum: 0.1, Source: raw.SHA256}
	e := study.Event{Kind: study.EventChanged, What: "once"}
	for _, c := range []struct {
		name string
		put  func() error
	}{
		{"study", func() error {
			return n.PutStudy(ctx, &study.Study{ID: "s", Title: "S"}, []byte("study: S\n"), map[string][]byte{"cooks/a.yaml": []byte("a")}, e)
		}},
		{"seal", func() error { return n.PutSeal(ctx, "s", study.Seal{Hash: "h", Canonical: []byte("{}"), At: noon}, e) }},
		{"cook", func() error {
			return n.PutCook(ctx, "s", study.Cook{ID: "k2", Readings: []study.Reading{{ID: "r", Values: []float64{1.5}}}}, e)
		}},
		{"traces", func() error {
			return n.PutTraces(ctx, "s", "k", []trace.Trace{samples}, []bench.RawFile{raw}, e)
		}},
		{"mark", func() error { return n.AddMark(ctx, "s", "k", study.Mark{ID: "m", Kind: study.Turn, AtUS: 7}, e) }},
		{"weighing", func() error { return n.AddWeighing(ctx, "s", "k", study.Weighing{ID: "w", MassG: 250}, e) }},
		{"reading", func() error { return n.AddReading(ctx, "s", "k", study.Reading{ID: "x", Values: []float64{3}}, e) }},
		{"deviation", func() error { return n.AddDeviation(ctx, "s", "k", study.Deviation{What: "dropped"}, e) }},
		{"finding", func() error {
			return n.PutFinding(ctx, "s", bench.StoredFinding{InputHash: "h", Body: []byte("{}")}, e)
		}},
		{"session", func() error { return n.OpenSession(ctx, "s", Session{ID: "t", Commitment: "c"}, e) }},
		{"ballot", func() error { return n.AddBallot(ctx, "s", "t", Ballot{ID: "b", Body: []byte("{}")}, e) }},
		{"closing", func() error { return n.CloseSession(ctx, "s", "t", []byte("key"), e) }},
		{"withdrawal", func() error { return n.WithdrawBallot(ctx, "s", "t", "b", e) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			before, err := n.Record(ctx, "s")
			must(t, err)
			must(t, c.put())
			once, err := n.Record(ctx, "s")
			must(t, err)
			must(t, c.put())
			twice, err := n.Record(ctx, "s")
			must(t, err)
			if d := cmp.Diff(once, twice); d != "" {
				t.Errorf("a retry changed the record:\n%s", d)
			}
			if len(once.Events) != len(before.Events)+1 {
				t.Errorf("%d events, then %d, want one more", len(before.Events), len(once.Events))
			}
		})
	}
	must(t, n.VerifyHistory(ctx, "s"))
}

func TestChangedContentUnderAKnownIDIsRefused(t *testing.T) {
	ctx := context.Background()
	n := withCook(t)
	must(t, n.PutStudy(ctx, &study.Study{ID: "other"}, nil, nil))
	must(t, n.PutSeal(ctx, "s", study.Seal{Hash: "h", At: noon}))
	must(t, n.AddMark(ctx, "s", "k", study.Mark{ID: "m", Kind: study.Turn, AtUS: 7}))
	must(t, n.AddWeighing(ctx, "s", "k", study.Weighing{ID: "w", MassG: 250}))
	must(t, n.AddReading(ctx, "s", "k", study.Reading{ID: "r", Values: []float64{1}}))
	must(t, n.OpenSession(ctx, "s", Session{ID: "t", Commitment: "c"}))
	must(t, n.AddBallot(ctx, "s", "t", Ballot{ID: "b", Body: []byte("1")}))
	for _, c := range []struct {
		name string
		code fault.Code
		put  func() error
	}{
		{"seal", "sealed-already", func() error { return n.PutSeal(ctx, "s", study.Seal{Hash: "other", At: noon}) }},
		{"mark", "id-conflict", func() error { return n.AddMark(ctx, "s", "k", study.Mark{ID: "m", Kind: study.Turn, AtUS: 8}) }},
		{"weighing", "id-conflict", func() error { return n.AddWeighing(ctx, "s", "k", study.Weighing{ID: "w", MassG: 251}) }},
		{"reading", "id-conflict", func() error { return n.AddReading(ctx, "s", "k", study.Reading{ID: "r", Values: []float64{2}}) }},
		{"cook of another study", "id-conflict", func() error { return n.PutCook(ctx, "other", study.Cook{ID: "k"}) }},
		{"mark of another cook", "id-conflict", func() error {
			return n.PutCook(ctx, "s", study.Cook{ID: "k2", Marks: []study.Mark{{ID: "m"}}})
		}},
		{"label of another cook", "label-taken", func() error { return n.PutCook(ctx, "s", study.Cook{ID: "k3", Label: "L01"}) }},
		{"ballot", "id-conflict", func() error { return n.AddBallot(ctx, "s", "t", Ballot{ID: "b", Body: []byte("2")}) }},
		{"session", "id-conflict", func() error { return n.OpenSession(ctx, "s", Session{ID: "t", Commitment: "d"}) }},
		{"log", "raw-hash", func() error {
			return n.PutTraces(ctx, "s", "k", nil, []bench.RawFile{{SHA256: strings.Repeat("0", 64), Bytes: []byte("x")}})
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			before, err := n.Record(ctx, "s")
			must(t, err)
			wantCode(t, c.put(), c.code)
			after, err := n.Record(ctx, "s")
			must(t, err)
			if d := cmp.Diff(before, after); d != "" {
				t.Errorf("a refused put changed the record:\n%s", d)
			}
		})
	}
}

func TestPutCookReplaces(t *testing.T) {
	ctx := context.Background()
	n := withCook(t)
	must(t, n.AddMark(ctx, "s", "k", study.Mark{ID: "m", Kind: study.Turn, AtUS: 7}))
	must(t, n.PutTraces(ctx, "s", "k", []trace.Trace{{Quantum: 1, TimesUS: []int64{1}, Counts: []int64{2}}}, nil))
	k := study.Cook{ID: "k", Label: "L01", Role: study.Void, VoidRule: "pan", VoidedAt: noon, Marks: []study.Mark{{ID: "m", Kind: study.Turn, AtUS: 9}}}
	must(t, n.PutCook(ctx, "s", k))
	rec, err := n.Record(ctx, "s")
	must(t, err)
	if d := cmp.Diff([]study.Cook{k}, rec.Cooks); d != "" {
		t.Error(d)
	}
	samples, err := n.Traces(ctx, "s", "k")
	must(t, err)
	if len(samples) != 1 {
		t.Errorf("the samples went with the old record: %v", samples)
	}
}

func TestPutTracesReplacesOfTheSameLog(t *testing.T) {
	ctx := context.Background()
	n := withCook(t)
	one, two := rawOf("1.csv", []byte("1")), rawOf("2.csv", []byte("2"))
	of := func(raw bench.RawFile, id string, v int64) trace.Trace {
		return trace.Trace{Channel: trace.Channel{ID: id}, Quantum: 1, TimesUS: []int64{1}, Counts: []int64{v}, Source: raw.SHA256}
	}
	must(t, n.PutTraces(ctx, "s", "k", []trace.Trace{of(one, "core", 1), of(one, "pan", 2)}, []bench.RawFile{one}))
	must(t, n.PutTraces(ctx, "s", "k", []trace.Trace{of(two, "mass", 3)}, []bench.RawFile{two}))
	must(t, n.PutTraces(ctx, "s", "k", []trace.Trace{of(one, "core", 4)}, []bench.RawFile{one}))
	got, err := n.Traces(ctx, "s", "k")
	must(t, err)
	if d := cmp.Diff([]trace.Trace{of(two, "mass", 3), of(one, "core", 4)}, got, unchanged); d != "" {
		t.Error(d)
	}
	hashes, err := n.RawOf(ctx, "s")
	must(t, err)
	if want := []string{one.SHA256, two.SHA256}; !slices.Equal(hashes, want) {
		t.Errorf("logs %v, want %v", hashes, want)
	}
}

// The history cannot be changed, not even with SQL in hand.
func TestHistoryIsAppendOnly(t *testing.T) {
	ctx := context.Background()
	n := withCook(t)
	must(t, n.AppendEvents(ctx, "s", study.Event{Kind: study.EventLooked, What: "looked"}, study.Event{What: "again"}))
	must(t, n.PutSeal(ctx, "s", study.Seal{Hash: "h", At: noon}))
	for _, text := range []string{
		`UPDATE event SET what = 'nothing'`,
		`DELETE FROM event`,
		`DELETE FROM event WHERE seq = 2`,
		`INSERT OR REPLACE INTO event SELECT study, 1, at, kind, 'nothing', detail, hash FROM event WHERE seq = 1`,
		`INSERT INTO event SELECT study, 9, at, kind, what, detail, hash FROM event WHERE seq = 1`,
		`UPDATE seal SET hash = ''`,
		`DELETE FROM seal`,
		`INSERT OR REPLACE INTO seal SELECT study, 'x', canonical, at FROM seal`,
		`DELETE FROM study`,
	} {
		if _, err := n.write.Exec(text); err == nil {
			t.Errorf("%s was not refused", text)
		}
	}
	must(t, n.VerifyHistory(ctx, "s"))

	// Somebody who also removes the triggers is found by the hashes.
	for _, text := range []string{`DROP TRIGGER event_is_never_changed`, `UPDATE event SET what = 'did not look' WHERE seq = 1`} {
		_, err := n.write.Exec(text)
		must(t, err)
	}
	wantCode(t, n.VerifyHistory(ctx, "s"), "history-broken")
}

func TestHistoryChainsForAnyEvents(t *testing.T) {
	n := withCook(t)
	ctx := context.Background()
	rapid.Check(t, func(rt *rapid.T) {
		events := rapid.SliceOfN(anyEvent, 0, 4).Draw(rt, "events")
		if err := n.AppendEvents(ctx, "s", events...); err != nil {
			rt.Fatal(err)
		}
		if err := n.VerifyHistory(ctx, "s"); err != nil {
			rt.Fatal(err)
		}
	})
}

// Running samples read the same before and after they are made compact.
func TestLiveSamplesAreTheSameBeforeAndAfter(t *testing.T) {
	n := newNotebook(t)
	ctx := context.Background()
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, nil, nil))
	serial := 0
	rapid.Check(t, func(rt *rapid.T) {
		serial++
		id := fmt.Sprint("live-", serial)
		if err := n.PutCook(ctx, "s", study.Cook{ID: id, Label: id}); err != nil {
			rt.Fatal(err)
		}
		whole := traceOf(rt, "")
		for from := 0; from < len(whole.TimesUS); {
			to := min(len(whole.TimesUS), from+rapid.IntRange(1, 9).Draw(rt, "batch"))
			batch := []trace.Trace{section(whole, from, to)}
			for range rapid.IntRange(1, 2).Draw(rt, "sends") { // a retry is harmless
				if err := n.AppendSamples(ctx, "s", id, batch); err != nil {
					rt.Fatal(err)
				}
			}
			if rapid.Bool().Draw(rt, "finish") {
				if err := n.FinishSamples(ctx, "s", id); err != nil {
					rt.Fatal(err)
				}
			}
			got, err := n.Traces(ctx, "s", id)
			if err != nil {
				rt.Fatal(err)
			}
			if d := cmp.Diff([]trace.Trace{section(whole, 0, to)}, got, unchanged); d != "" {
				rt.Fatalf("after %d samples:\n%s", to, d)
			}
			from = to
		}
	})
}

func TestLiveSampleWithTwoValuesIsRefused(t *testing.T) {
	ctx := context.Background()
	n := withCook(t)
	s := trace.Trace{Channel: trace.Channel{ID: "core"}, Quantum: 1, TimesUS: []int64{5}, Counts: []int64{1}}
	must(t, n.AppendSamples(ctx, "s", "k", []trace.Trace{s}))
	s.Counts = []int64{2}
	wantCode(t, n.AppendSamples(ctx, "s", "k", []trace.Trace{s}), "id-conflict")
}

// A record read before is not what a caller, or another process, made of it.
func TestRecordIsReadAnewWhenItChanged(t *testing.T) {
	ctx := context.Background()
	n := withCook(t)
	must(t, n.AddMark(ctx, "s", "k", study.Mark{ID: "m", AtUS: 1}))
	first, err := n.Record(ctx, "s")
	must(t, err)
	first.Cooks[0].Marks[0].AtUS = 99
	second, err := n.Record(ctx, "s")
	must(t, err)
	if got := second.Cooks[0].Marks[0].AtUS; got != 1 {
		t.Errorf("a caller's change came back: %d", got)
	}
	other, err := Open(ctx, n.Path(), Options{Now: clock})
	must(t, err)
	defer other.Close()
	must(t, other.AddMark(ctx, "s", "k", study.Mark{ID: "m2", AtUS: 2}))
	third, err := n.Record(ctx, "s")
	must(t, err)
	if got := len(third.Cooks[0].Marks); got != 2 {
		t.Errorf("%d marks after another connection added one, want 2", got)
	}
}

// Long traces are stored in several chunks and come back as one.
func TestLongTracesComeBackWhole(t *testing.T) {
	ctx := context.Background()
	n := withCook(t)
	long := trace.Trace{Channel: trace.Channel{ID: "core"}, Quantum: 0.1}
	for i := range 2*chunkSamples + 5 {
		long.TimesUS = append(long.TimesUS, int64(i)*100_000)
		long.Counts = append(long.Counts, int64(i%97))
		if i%1000 == 0 {
			long.Missing.Set(i)
			long.Counts[i] = 0
		}
	}
	must(t, n.PutTraces(ctx, "s", "k", []trace.Trace{long}, nil))
	got, err := n.Traces(ctx, "s", "k")
	must(t, err)
	if len(got) != 1 || !reflect.DeepEqual(got[0].TimesUS, long.TimesUS) || !reflect.DeepEqual(got[0].Counts, long.Counts) || !got[0].Missing.Equal(long.Missing) {
		t.Error("the trace changed")
	}
	var chunks int
	must(t, n.read.QueryRow("SELECT count(*) FROM trace_chunk").Scan(&chunks))
	if chunks != 3 {
		t.Errorf("%d chunks, want 3", chunks)
	}
}

// A log that is read another way gives other samples under the same hash, so
// what was computed from those before is dropped.
func TestNewSamplesDropWhatWasComputed(t *testing.T) {
	ctx := context.Background()
	n := withCook(t)
	raw := rawOf("1.csv", []byte("1"))
	put := func(sensor string) {
		must(t, n.PutTraces(ctx, "s", "k", []trace.Trace{{Channel: trace.Channel{ID: "core", Sensor: sensor}, Quantum: 1, TimesUS: []int64{1}, Counts: []int64{1}, Source: raw.SHA256}}, []bench.RawFile{raw}))
	}
	kept := func() int {
		got, err := n.Responses(ctx, "s", "")
		must(t, err)
		return len(got)
	}
	put("")
	must(t, n.PutResponses(ctx, "s", []bench.StoredResponse{{CookID: "k", Response: "carryover", InputHash: "1"}}))
	put("") // the same again
	if kept() != 1 {
		t.Error("the same samples dropped what was computed")
	}
	put("T-1")
	if kept() != 0 {
		t.Error("what was computed from other samples is still kept")
	}
}

func TestStoredResponsesAndFindings(t *testing.T) {
	ctx := context.Background()
	n := withCook(t)
	want := []bench.StoredResponse{
		{CookID: "k", Response: "carryover", InputHash: "1", Body: []byte(`{"value":2}`)},
		{CookID: "k", Response: "cooking_loss", InputHash: "1", Body: []byte(`{"value":21.4}`)},
	}
	must(t, n.PutResponses(ctx, "s", want))
	want[1].InputHash, want[1].Body = "2", []byte(`{"value":21.5}`)
	must(t, n.PutResponses(ctx, "s", want[1:])) // replaces
	got, err := n.Responses(ctx, "s", "")
	must(t, err)
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	got, err = n.Responses(ctx, "s", "cooking_loss")
	must(t, err)
	if d := cmp.Diff(want[1:], got); d != "" {
		t.Error(d)
	}
	finding := bench.StoredFinding{InputHash: "1", Body: []byte(`{}`)}
	must(t, n.PutFinding(ctx, "s", finding))
	finding.At = noon
	found, err := n.Findings(ctx, "s")
	must(t, err)
	if d := cmp.Diff([]bench.StoredFinding{finding}, found); d != "" {
		t.Error(d)
	}
}

// The columns are written out one by one: a field added to a record must be
// given a column, and this test its name.
func TestEveryFieldHasAColumn(t *testing.T) {
	for _, c := range []struct {
		of   reflect.Type
		want string
	}{
		{reflect.TypeFor[study.Cook](), "ID Label Block Piece Treatment Role Order Day ZeroUS ZeroSet Marks Weighings Readings Deviations Clocks Photos VoidRule VoidWhy VoidedAt Logs Line"},
		{reflect.TypeFor[study.Mark](), "ID Kind AtUS Note Source"},
		{reflect.TypeFor[study.Weighing](), "ID Stage MassG AtUS HasAt ResG Note"},
		{reflect.TypeFor[study.Reading](), "ID Response Kind Unit Values Grades StdU By Blind"},
		{reflect.TypeFor[study.Deviation](), "AtUS What Why"},
		{reflect.TypeFor[study.Photo](), "ID SHA256 Type WidthPx HeightPx Caption Alt TakenAt AddedAt TrashedAt"},
		{reflect.TypeFor[study.ClockFix](), "ID Clock To AnchorUS OffsetUS Rate Elapsed Method Points RMSUS WorstUS MidUS OffsetUUS RateU Note By At UndoneBy UndoneAt"},
		{reflect.TypeFor[study.LogRef](), "File Map SHA256"},
		{reflect.TypeFor[study.Seal](), "Hash Canonical At"},
		{reflect.TypeFor[study.Event](), "Seq At Study Kind What Detail Hash"},
	} {
		var have []string
		for i := range c.of.NumField() {
			have = append(have, c.of.Field(i).Name)
		}
		if got := strings.Join(have, " "); got != c.want {
			t.Errorf("%s has fields\n%s\nand columns for\n%s", c.of, got, c.want)
		}
	}
}
