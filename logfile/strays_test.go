package logfile

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// A log keeps all rows but those whose clock ran ahead.
func TestRowsAheadOfTheOthersCostNoLog(t *testing.T) {
	start := time.Date(2026, 5, 1, 14, 0, 0, 0, time.UTC)
	for _, tc := range []struct {
		name          string
		rows          int
		ahead         map[int]time.Duration // by row from 1
		kept          int
		stray, behind []int // rows kept out as ahead of the others, and as earlier
	}{
		{"one", 30, map[int]time.Duration{10: 73 * 365 * 24 * time.Hour}, 29, []int{10}, nil},
		{"the first", 30, map[int]time.Duration{1: 1e6 * time.Second}, 29, []int{1}, nil},
		{"by two rows only", 30, map[int]time.Duration{10: 2500 * time.Millisecond}, 29, []int{10}, nil},
		{"three together", 30, map[int]time.Duration{10: 1e6 * time.Second, 11: 1e6 * time.Second, 12: 1e6 * time.Second}, 27, []int{10, 11, 12}, nil},
		{"two apart", 30, map[int]time.Duration{5: 1e6 * time.Second, 20: 1e9 * time.Second}, 28, []int{5, 20}, nil},
		{"the last may be right", 30, map[int]time.Duration{30: 1e6 * time.Second}, 30, nil, nil},
		{"the last but one leaves nothing to tell by", 30, map[int]time.Duration{29: 1e6 * time.Second}, 29, nil, []int{30}},
		{"the last leaps by years", 30, map[int]time.Duration{30: 40 * 365 * 24 * time.Hour}, 29, []int{30}, nil},
		{"the last three leap by years", 30, map[int]time.Duration{28: 1e9 * time.Second, 29: 1e9 * time.Second, 30: 1e9 * time.Second}, 27, []int{28, 29, 30}, nil},
		{"the last but one leaps by years", 30, map[int]time.Duration{29: 1e9 * time.Second}, 29, []int{29}, nil},
		{"nine that leap at the end are believed", 30, later(22, 30, 1e9*time.Second), 30, nil, nil},
		{"of few rows a leap is believed", 10, map[int]time.Duration{10: 1e9 * time.Second}, 10, nil, nil},
		{"nine are no slip", 30, ahead(10, 18), 18, nil, seq(19, 30)},
		{"over the edge of a window", 70_000, map[int]time.Duration{65_536: 1e6 * time.Second, 65_537: 1e6 * time.Second}, 69_998, []int{65_536, 65_537}, nil},
	} {
		for _, spread := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s, spread %v", tc.name, spread), func(t *testing.T) {
				var b strings.Builder
				b.WriteString("time,core °C\n")
				for i := range tc.rows {
					at := start.Add(time.Duration(i) * time.Second).Add(tc.ahead[i+1])
					fmt.Fprintf(&b, "%s,5.%d\n", at.Format(time.RFC3339Nano), i%10)
				}
				in, err := Inspect(strings.NewReader(b.String()), Options{})
				if err != nil {
					t.Fatal(err)
				}
				m := in.Map()
				m.Time.Spread = spread
				log := load(t, b.String(), LoadOptions{Map: m})
				stray, behind := rowsOf(log, StrayTime), rowsOf(log, OutOfOrder)
				if log.Account.Kept != tc.kept || !slices.Equal(stray, tc.stray) || !slices.Equal(behind, tc.behind) {
					t.Errorf("kept %d, ahead %v, earlier %v", log.Account.Kept, stray, behind)
				}
			})
		}
	}
}

// Several samples of one second, one of them with a clock that ran ahead.
func TestStrayAmongCoarseStamps(t *testing.T) {
	var b strings.Builder
	b.WriteString("time,core °C\n")
	for i := range 40 {
		second := fmt.Sprintf("2026-05-01T14:03:%02dZ", i/10)
		if i == 14 {
			second = "2099-01-01T00:00:00Z"
		}
		fmt.Fprintf(&b, "%s,5.%d\n", second, i%10)
	}
	in, err := Inspect(strings.NewReader(b.String()), Options{})
	if err != nil {
		t.Fatal(err)
	}
	m := in.Map()
	m.Time.Spread = true
	log := load(t, b.String(), LoadOptions{Map: m})
	if got := rowsOf(log, StrayTime); log.Account.Kept != 39 || !slices.Equal(got, []int{15}) {
		t.Fatalf("kept %d, ahead %v", log.Account.Kept, got)
	}
	times := log.Traces[0].TimesUS
	if span := times[len(times)-1] - times[0]; span > 4e6 {
		t.Errorf("40 samples of 4 s span %d µs", span)
	}
}

func rowsOf(log *Log, kind ProblemKind) (rows []int) {
	for _, p := range log.Account.Problems {
		for row := p.Row; p.Kind == kind && row <= p.LastRow; row++ {
			rows = append(rows, row)
		}
	}
	return rows
}

func ahead(from, to int) map[int]time.Duration { return later(from, to, 1e6*time.Second) }

func later(from, to int, by time.Duration) map[int]time.Duration {
	m := map[int]time.Duration{}
	for _, row := range seq(from, to) {
		m[row] = by
	}
	return m
}

func seq(from, to int) (rows []int) {
	for row := from; row <= to; row++ {
		rows = append(rows, row)
	}
	return rows
}
