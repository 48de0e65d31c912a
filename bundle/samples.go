package bundle

import (
	"bytes"
	"fmt"
	"hash/maphash"
	"io"
	"slices"
	"strconv"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// Samples stand in wide tables, samples/<cook>.csv: a time in µs, the same
// in seconds from heat on, and a column for each channel. Channels that were
// not sampled at the same times stand in tables of their own, so that no cell
// is empty but where a sample has no value.
//
// A value is its count times the resolution of its source, written out
// exactly, in the source's own unit: 540 × 0.1 °F is "54.0".

// sampleFile is one table of samples.
type sampleFile struct {
	path      string
	traces    []int // which of the cook's traces
	columns   []string
	corrected bool // there is a column of corrected times
}

// sampleFiles deals a cook's traces to files named after it.
func sampleFiles(name string, traces []bench.LongTrace, k *study.Cook) ([]sampleFile, error) {
	var out []sampleFile
	var first []timesKey // of each file
	times := hashedTimes{seed: maphash.MakeSeed()}
next:
	for i := range traces {
		key, err := times.of(&traces[i])
		if err != nil {
			return nil, err
		}
		for f := range out {
			if first[f] == key {
				out[f].traces = append(out[f].traces, i)
				continue next
			}
		}
		path := "samples/" + name + ".csv"
		if len(out) > 0 {
			path = fmt.Sprintf("samples/%s.%d.csv", name, len(out)+1)
		}
		out, first = append(out, sampleFile{path: path, traces: []int{i}}), append(first, key)
	}
	for f := range out {
		t, err := traces[out[f].traces[0]].Section(0)
		if err != nil {
			return nil, err
		}
		oneLog := !slices.ContainsFunc(out[f].traces, func(i int) bool { return traces[i].Source != t.Source })
		out[f].corrected = oneLog && correctedSeconds(k, t) != nil
	}
	for f := range out {
		taken := map[string]bool{timeColumn: true, secondsColumn: true, correctedColumn: true}
		for _, i := range out[f].traces {
			column := traces[i].Channel.ID
			if guard(column) != column {
				column = "channel " + column
			}
			for n := 2; column == "" || taken[column]; n++ {
				column = strings.TrimSpace(fmt.Sprintf("%s (%d)", traces[i].Channel.ID, n))
				if guard(column) != column {
					column = "channel " + column
				}
			}
			taken[column] = true
			out[f].columns = append(out[f].columns, column)
		}
	}
	return out, nil
}

const (
	timeColumn    = "time_us"
	secondsColumn = "t_s"
	// correctedColumn is for readers with a spreadsheet, where clocks.csv
	// corrects the clock of the samples; it is not read back.
	correctedColumn = "t_corrected_s"
)

// sampleSchema describes a table of samples.
func sampleSchema(f sampleFile, traces []bench.LongTrace) Schema {
	about := "µs since 1970-01-01 UTC"
	if traces[f.traces[0]].Elapsed {
		about = "µs since the start of the log"
	}
	s := Schema{MissingValues: []string{""}, PrimaryKey: []string{timeColumn}, Fields: []Field{
		{Name: timeColumn, Type: "integer", Description: about, Unit: "us", Constraints: &Constraints{Required: true, Unique: true}},
		{Name: secondsColumn, Type: "number", Description: "time from heat on; empty when heat on is not known", Unit: "s"},
	}}
	if f.corrected {
		s.Fields = append(s.Fields, Field{Name: correctedColumn, Type: "number", Description: "time from heat on with the clocks corrected by clocks.csv", Unit: "s"})
	}
	for j, i := range f.traces {
		c := traces[i].Channel
		s.Fields = append(s.Fields, Field{Name: f.columns[j], Type: "number", Unit: ucum(c.Unit),
			Description: strings.TrimSpace(fmt.Sprintf("%s %s, in steps of %s", c.Place, c.ID, strconv.FormatFloat(traces[i].Quantum, 'g', -1, 64)))})
	}
	return s
}

// ucum is a unit's code in the Unified Code for Units of Measure.
func ucum(u trace.Unit) string {
	switch u {
	case trace.DegC:
		return "Cel"
	case trace.DegF:
		return "[degF]"
	case trace.Ounce:
		return "[oz_av]"
	case trace.Percent:
		return "%"
	}
	return string(u) // K, g, W and none are the same
}

// writeSamples writes a table of samples. Of each trace one section is in
// memory.
func writeSamples(to io.Writer, f sampleFile, traces []bench.LongTrace, k *study.Cook) error {
	header := []string{timeColumn, secondsColumn}
	if f.corrected {
		header = append(header, correctedColumn)
	}
	b := appendRecord(nil, append(header, f.columns...))
	quanta := make([]decimal, len(f.traces))
	in := make([]*sections, len(f.traces))
	for j, i := range f.traces {
		quanta[j] = decimalOf(traces[i].Quantum)
		in[j] = &sections{from: &traces[i]}
	}
	for {
		part, err := together(in)
		if err != nil {
			return err
		}
		if part == nil {
			break
		}
		var corrected []int64
		if f.corrected {
			if corrected = correctedSeconds(k, &part[0]); corrected == nil {
				return fault.New("clock-refused", "the correction of the clock of %s cannot be applied to all of its samples", part[0].Channel.ID).
					WithFix("look at it with \"trivet clock\", or undo it")
			}
		}
		for row, at := range part[0].TimesUS {
			b = strconv.AppendInt(b, at, 10)
			b = append(b, ',')
			if k.ZeroSet {
				b = micro.appendTimes(b, at-k.ZeroUS)
			}
			if corrected != nil {
				b = micro.appendTimes(append(b, ','), corrected[row])
			}
			for j := range part {
				b = append(b, ',')
				if !part[j].Missing.Has(row) {
					b = quanta[j].appendTimes(b, part[j].Counts[row])
				}
			}
			b = append(b, '\r', '\n')
			if len(b) >= samplesBlock {
				if _, err := to.Write(b); err != nil {
					return err
				}
				b = b[:0]
			}
		}
	}
	_, err := to.Write(b)
	return err
}

// samplesBlock is about how much of a table of samples is written at once.
const samplesBlock = 1 << 18

var micro = decimalOf(1e-6)

// readSamples fills traces from the table they stand in. columns are those
// of the traces, in the same order.
func readSamples(path string, b []byte, columns []string, traces []*trace.Trace, k *study.Cook) error {
	r := newCSVReader(path, b)
	header, err := r.next(nil)
	if err != nil {
		return err
	}
	header = slices.Clone(header)
	at := make([]int, len(columns))
	quanta := make([]decimal, len(columns))
	timeAt, secondsAt := slices.Index(header, timeColumn), slices.Index(header, secondsColumn)
	if timeAt < 0 {
		return fault.New("csv-column", "the table has no column %q", timeColumn).In(path).On(timeColumn, "").
			WithFix("give the time of every row in µs")
	}
	for j, c := range columns {
		if at[j] = slices.Index(header, c); at[j] < 0 {
			return fault.New("csv-column", "the table has no column %q, which channels.csv names", c).In(path).On(c, "").
				WithFix("name the column in the first row")
		}
		quanta[j] = decimalOf(traces[j].Quantum)
	}
	most := bytes.Count(b, []byte{'\n'})
	times := make([]int64, 0, most) // of all the traces
	for _, t := range traces {
		t.Counts = make([]int64, 0, most)
	}
	var cells []string
	for row := 0; ; row++ {
		line := r.line
		if cells, err = r.next(cells); err != nil {
			return err
		}
		if cells == nil {
			for _, t := range traces {
				t.TimesUS = slices.Clip(times)
			}
			return nil
		}
		bad := func(column, cell, fix, says string, args ...any) error {
			return fault.New("csv-value", says, args...).In(path).At(line, 0).AtRow(row+1).On(column, cell).WithFix("%s", fix)
		}
		if len(cells) != len(header) {
			return fault.New("csv-cells", "the row has %d cells, and the table has %d columns", len(cells), len(header)).
				In(path).At(line, 0).AtRow(row + 1).WithFix("give every row a cell for each column")
		}
		us, err := strconv.ParseInt(cells[timeAt], 10, 64)
		if err != nil {
			return bad(timeColumn, cells[timeAt], "write the time in whole µs", "expected a whole number")
		}
		if row > 0 && us <= times[row-1] {
			return bad(timeColumn, cells[timeAt], "sort the rows by time, one for each", "the time is not later than the one before")
		}
		times = append(times, us)
		if secondsAt >= 0 && cells[secondsAt] != "" {
			if n, ok := micro.count(cells[secondsAt]); !ok || !k.ZeroSet || n != us-k.ZeroUS {
				return bad(secondsColumn, cells[secondsAt], "leave the cell empty, or write (time_us − zero_us of the cook) / 1000000",
					"the time from heat on does not agree with time_us")
			}
		}
		for j, t := range traces {
			cell := cells[at[j]]
			if cell == "" {
				t.Missing.Set(row)
				t.Counts = append(t.Counts, 0)
				continue
			}
			n, ok := quanta[j].count(cell)
			if !ok {
				return bad(columns[j], cell, "write a multiple of the quantum in channels.csv, or nothing when there is no value",
					"expected a number that is a multiple of %v", t.Quantum)
			}
			t.Counts = append(t.Counts, n)
		}
	}
}

// fileName makes a name for a cook's files: its label where that is safe in
// any file system and not taken, its id otherwise.
func fileName(k *study.Cook, number int, taken map[string]bool) string {
	for _, name := range []string{k.Label, k.ID, fmt.Sprintf("cook-%d", number), fmt.Sprintf("cook-%d-%s", number, hashOf([]byte(k.ID))[:12])} {
		if lower := strings.ToLower(name); isPlainName(name) && !taken[lower] {
			taken[lower] = true
			return name
		}
	}
	return fmt.Sprintf("cook-%d-%s", number, hashOf([]byte(k.ID))) // taken only by a collision of SHA-256
}

func isPlainName(s string) bool {
	if s == "" || len(s) > 64 || s[0] == '-' || windowsDevice(s) {
		return false
	}
	for _, c := range []byte(s) {
		if !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '_') {
			return false
		}
	}
	return true
}

// windowsDevice reports names that no file can have on Windows.
func windowsDevice(s string) bool {
	s = strings.ToLower(s)
	switch s {
	case "con", "prn", "aux", "nul":
		return true
	}
	return len(s) == 4 && (s[:3] == "com" || s[:3] == "lpt") && s[3] >= '0' && s[3] <= '9'
}
