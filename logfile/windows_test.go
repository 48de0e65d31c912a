package logfile

import (
	"bytes"
	"fmt"
	"io"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"trivet/fault"
	"trivet/trace"
)

// anyLog draws a log with most of what loggers do: coarse stamps, stamps that
// go back or repeat, cells that are no numbers, more decimals later, sessions
// glued together, midnights.
func anyLog(t *rapid.T) string {
	var b strings.Builder
	long := rapid.Bool().Draw(t, "long")
	clock := rapid.Bool().Draw(t, "clock")
	header := "time_s,core °C,pan °C\n"
	if long {
		header = "time_s,probe,value °C\n"
	}
	if clock {
		header = strings.Replace(header, "time_s", "Time", 1)
	}
	b.WriteString(header)
	at := rapid.IntRange(0, 86399).Draw(t, "start")
	stamp := func() string {
		if clock {
			return fmt.Sprintf("%02d:%02d:%02d", at/3600%24, at/60%60, at%60)
		}
		return strconv.Itoa(at)
	}
	value := func(i int) string {
		return rapid.SampledFrom([]string{"20.5", "21", "22.25", "23.125", "--", "", "-999", "9007199.5", "24.0001"}).Draw(t, "value")
	}
	for i := range rapid.IntRange(1, 120).Draw(t, "rows") {
		at += rapid.SampledFrom([]int{0, 1, 1, 1, 1, 2, 60, -3}).Draw(t, "step")
		at = max(at, 0)
		switch rapid.IntRange(0, 30).Draw(t, "kind") {
		case 0:
			b.WriteString(header)
			at = rapid.IntRange(0, 3).Draw(t, "again")
			continue
		case 1:
			b.WriteString("no time," + value(i) + ",1\n")
			continue
		case 2:
			b.WriteString(stamp() + "\n")
			continue
		}
		if long {
			name := rapid.SampledFrom([]string{"core", "pan", "air"}).Draw(t, "name")
			if i < 4 {
				name = []string{"core", "pan", "core", "pan"}[i]
			}
			fmt.Fprintf(&b, "%s,%s,%s\n", stamp(), name, value(i))
		} else {
			fmt.Fprintf(&b, "%s,%s,%s\n", stamp(), value(i), value(i+1))
		}
	}
	text := b.String()
	if rapid.Bool().Draw(t, "torn") {
		text = strings.TrimSuffix(text, "\n")
	}
	return text
}

// A log read in windows of a few rows gives the same traces and the same
// account as one read whole, spread out or not.
func TestWindowsChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := anyLog(t)
		opt := LoadOptions{Session: rapid.IntRange(0, 2).Draw(t, "session")}
		if g, err := Inspect(strings.NewReader(text), Options{}); err == nil && rapid.Bool().Draw(t, "spread") {
			opt.Map = g.Map()
			opt.Map.Time.Spread = true
		}
		again := func() *Map { // loading may add channels to a guess's map, never to one that is given
			if opt.Map == nil {
				return nil
			}
			m := *opt.Map
			return &m
		}
		opt.Map = again()
		whole, err := Load(strings.NewReader(text), opt)
		opt.window = rapid.IntRange(1, 200).Draw(t, "window")
		opt.Map = again()
		parts, err2 := Load(strings.NewReader(text), opt)
		if fmt.Sprint(err) != fmt.Sprint(err2) {
			t.Fatalf("whole: %v\nin windows: %v\n%s", err, err2, text)
		}
		if err != nil {
			return
		}
		sameLogs(t, whole, parts, text)
		for i, tr := range parts.Traces {
			e := parts.Extents[i]
			if err := tr.Validate(); err != nil {
				t.Fatal(err)
			}
			if e.Samples != tr.Len() || e.Present != tr.Len()-tr.Missing.Count() || e.Samples > 0 && (e.FirstUS != tr.TimesUS[0] || e.LastUS != tr.TimesUS[e.Samples-1]) {
				t.Fatalf("extent %+v of a trace of %d samples, %d missing\n%s", e, tr.Len(), tr.Missing.Count(), text)
			}
		}
	})
}

func sameLogs(t *rapid.T, want, got *Log, text string) {
	t.Helper()
	opts := cmp.Options{cmpopts.EquateEmpty(), cmp.Comparer(trace.Bitmap.Equal)}
	if d := cmp.Diff(want.Traces, got.Traces, opts); d != "" {
		t.Fatalf("traces differ:\n%s\n%s", d, text)
	}
	if d := cmp.Diff(want.Account, got.Account, opts); d != "" {
		t.Fatalf("accounts differ:\n%s\n%s", d, text)
	}
}

// stored is a sink that keeps each piece in its stored form, as a notebook
// does.
type stored struct {
	discard
	bytes, samples int
	buf            []byte
	heads          []*trace.Trace
}

func (s *stored) Samples(first int, pieces []trace.Trace) error {
	for i := range pieces {
		var err error
		if s.buf, err = trace.Encode(s.buf[:0], &pieces[i]); err != nil {
			return err
		}
		s.bytes += len(s.buf)
		s.samples += pieces[i].Len()
	}
	return nil
}

func (s *stored) Done(traces []*trace.Trace, numbers []int) error {
	s.heads = traces
	return nil
}

// logText makes a log of a given size while it is read: nothing of it is kept.
type logText struct {
	left, row int
	noise     uint64
	buf       []byte
	at        int
	heap      uint64 // most that was in use
}

func (e *logText) Read(p []byte) (int, error) {
	if e.at == len(e.buf) {
		if e.left <= 0 {
			return 0, io.EOF
		}
		e.buf, e.at = e.buf[:0], 0
		if e.row == 0 {
			e.buf = append(e.buf, "time_s,core,d05,d10,d15,d20,surface A,pan,air\n"...)
		}
		for len(e.buf) < 256<<10 {
			e.buf = strconv.AppendFloat(e.buf, float64(e.row)/10, 'f', 1, 64)
			for c := range 8 {
				e.buf = append(e.buf, ',')
				e.noise = e.noise*6364136223846793005 + 1442695040888963407 // Knuth's MMIX generator
				tenths := 200 + 100*c + e.row/100%500 + int(e.noise>>62)
				e.buf = strconv.AppendInt(e.buf, int64(tenths/10), 10)
				e.buf = append(e.buf, '.', byte('0'+tenths%10))
			}
			e.buf = append(e.buf, '\n')
			e.row++
		}
		e.left -= len(e.buf)
		if e.row/4000%64 == 0 {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			e.heap = max(e.heap, m.HeapAlloc)
		}
	}
	n := copy(p, e.buf[e.at:])
	e.at += n
	return n, nil
}

// A log of 200 MB goes into stored traces in less than 100 MB of memory, of
// which most waits to be collected.
func TestLongLogTakesAWindow(t *testing.T) {
	if testing.Short() {
		t.Skip("reads 200 MB")
	}
	in := &logText{left: 200e6}
	sink := &stored{}
	log, err := Load(in, LoadOptions{Sink: sink})
	if err != nil {
		t.Fatal(err)
	}
	if log.Account.Kept != in.row || len(sink.heads) != 8 || sink.samples != 8*in.row || log.Extents[7].Present != in.row || len(log.Account.Problems) > 0 {
		t.Fatalf("%d of %d rows, %d traces, %d samples: %+v", log.Account.Kept, in.row, len(sink.heads), sink.samples, log.Account.Problems)
	}
	if got, want := log.Extents[0].LastUS, int64(in.row-1)*100_000; got != want {
		t.Errorf("last time %d, want %d", got, want)
	}
	per := float64(sink.bytes) / float64(sink.samples)
	t.Logf("%d rows: at most %.0f MB on the heap, %.2f bytes a sample", in.row, float64(in.heap)/1e6, per)
	if in.heap > 100e6 {
		t.Errorf("%d MB on the heap", in.heap/1e6)
	}
	if per >= 2 {
		t.Errorf("%.2f bytes a sample", per)
	}
}

// Gaps are found in a log of any length, also behind the steps whose median
// is exact.
func TestGapsOfALongLog(t *testing.T) {
	var b bytes.Buffer
	b.WriteString("time_s,core °C\n")
	at, want := 0, []RowGap{}
	for i := range 150_000 {
		at++
		if i == 40_000 || i == 100_000 {
			at += 30
			want = append(want, RowGap{Row: i + 1, Seconds: 31})
		}
		fmt.Fprintf(&b, "%d,20.5\n", at)
	}
	log, err := Load(&b, LoadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, log.Account.Gaps); d != "" {
		t.Error(d)
	}
}

// The bins of steps are in order and never more than 0.1 % wide.
func TestBins(t *testing.T) {
	for d := int64(1); d > 0 && d < 1<<61; d += d/7 + 1 {
		i := bin(d)
		if lo, hi := unbin(i), unbin(i+1); lo > d || d >= hi || float64(hi-lo) > max(1, 0.001*float64(d)) {
			t.Fatalf("step %d is in bin %d, %d to %d", d, i, lo, hi)
		}
	}
}

// A value that later decimals make too large is missing, with its row.
func TestLateDecimalsMakeALargeValueMissing(t *testing.T) {
	text := "time_s,core °C\n0,20\n1,9007199254740\n2,21.123456789\n"
	log := load(t, text, LoadOptions{window: 1})
	if n := log.Account.Counts[NotANumber]; n != 1 || log.Account.Problems[0].Row != 2 {
		t.Errorf("%+v", log.Account)
	}
	if tr := log.Traces[0]; !tr.Missing.Has(1) || tr.Missing.Count() != 1 || log.Extents[0].Present != 2 {
		t.Errorf("%+v %+v", tr, log.Extents)
	}
}

// The order of day and month that only later rows tell holds for a log that
// goes to a sink as well; one that can be read only once says what is missing.
func TestDateOrderOfALogForASink(t *testing.T) {
	for _, c := range []struct {
		name, second string
		form         TimeForm
	}{
		{"a number above 12 comes late", "13/6/2026", LocalDMY},
		{"the month before it", "6/13/2026", LocalMDY},
		{"day by day", "6/6/2026", LocalDMY},
		{"nothing tells", "5/6/2026", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			var b strings.Builder
			b.WriteString("Date Time,core °C\n")
			for i := range 3000 {
				day := "5/6/2026"
				if i >= 2000 {
					day = c.second
				}
				fmt.Fprintf(&b, "%s %02d:%02d:%02d,%d.5\n", day, i/3600+5*(i/2000), i/60%60, i%60, 20+i%7)
			}
			want := load(t, b.String(), LoadOptions{})
			got := load(t, b.String(), LoadOptions{Sink: &memory{}, window: 500})
			if d := cmp.Diff(want, got, cmp.Comparer(trace.Bitmap.Equal), cmpopts.IgnoreFields(Log{}, "Guess")); d != "" {
				t.Error(d)
			}
			if d := cmp.Diff(want.Guess.Time, got.Guess.Time); d != "" || c.form != "" && got.Map.Time.Form != c.form {
				t.Errorf("%s: %s", got.Map.Time.Form, d)
			}
			_, err := Load(io.MultiReader(strings.NewReader(b.String())), LoadOptions{Sink: Discard})
			if c := fault.As(err); c == nil || c.Code != "log-date-order" {
				t.Errorf("read once: %v", err)
			}
		})
	}
}
