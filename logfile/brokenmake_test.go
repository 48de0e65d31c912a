package logfile

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go"
	"golang.org/x/text/encoding/unicode"
)

// brokenFile is a file with something wrong and what must become of it. The
// account is worked out here, from the fault that was put in, and not by the
// loader.
type brokenFile struct {
	Name  string `json:"name"`
	Class string `json:"class"`
	// Errors are the codes one of which the file is refused with; empty where
	// it is loaded.
	Errors []string `json:"errors,omitempty"`
	// Either is true where a refusal is as good as a load whose account is
	// sound, as of bytes flipped at random.
	Either   bool     `json:"either,omitempty"`
	Rows     int      `json:"rows,omitempty"`
	Kept     int      `json:"kept,omitempty"`
	Missing  []int    `json:"missing,omitempty"`  // samples without a value, of each trace
	Problems []string `json:"problems,omitempty"` // row, column, kind and value of each
	Gaps     int      `json:"gaps,omitempty"`
	Notes    []string `json:"notes,omitempty"` // codes that must be among the notes

	bytes []byte
}

// soundRows is what the broken files were before: twelve seconds of a core and
// a pan.
func soundRows() [][]string {
	rows := [][]string{{"time", "core °C", "pan °C"}}
	for i := range 12 {
		rows = append(rows, []string{fmt.Sprintf("2026-03-01T10:00:%02dZ", i), strconv.FormatFloat(5.25+float64(i)/4, 'f', 2, 64), strconv.Itoa(200 + i)})
	}
	return rows
}

// formats write rows in every form that is read.
var formats = []struct {
	name  string
	write func(rows [][]string) []byte
	text  bool // may hold NUL bytes
}{
	{"csv", func(r [][]string) []byte { return delimited(r, ",") }, true},
	{"tsv", func(r [][]string) []byte { return delimited(r, "\t") }, true},
	{"utf16", func(r [][]string) []byte { return utf16(delimited(r, ";"), unicode.LittleEndian) }, true},
	{"gz", func(r [][]string) []byte { return gz(delimited(r, ",")) }, true},
	{"zst", func(r [][]string) []byte { return zst(delimited(r, ",")) }, true},
	{"xlsx", func(r [][]string) []byte { return xlsx(r, "Sheet1", 1, 1, false) }, false},
	{"ods", func(r [][]string) []byte { return odsOf(r, "probe", 1, 1, false) }, false},
	{"jsonl", func(r [][]string) []byte { return jsonObjects(r, "", "\n", "\n") }, true},
	{"json", func(r [][]string) []byte { return jsonObjects(r, "[\n", ",\n", "\n]\n") }, true},
	{"parquet", parquetRows, true},
}

func parquetRows(rows [][]string) []byte {
	type row struct {
		Time string `parquet:"time"`
		Core string `parquet:"core °C"`
		Pan  string `parquet:"pan °C"`
	}
	var b bytes.Buffer
	w := parquet.NewGenericWriter[row](&b)
	for _, r := range rows[1:] {
		if _, err := w.Write([]row{{r[0], r[1], r[2]}}); err != nil {
			panic(err)
		}
	}
	if err := w.Close(); err != nil {
		panic(err)
	}
	return b.Bytes()
}

func problemOf(row, last int, column string, kind ProblemKind, value string) string {
	return fmt.Sprintf("%d–%d %s %s %q", row, last, column, kind, clip(value))
}

// makeBroken makes the files, the same on every run.
func makeBroken() []brokenFile {
	var out []brokenFile
	out = append(out, brokenCells()...)
	out = append(out, brokenTimes()...)
	out = append(out, brokenTexts()...)
	out = append(out, brokenPacks()...)
	out = append(out, brokenBooks()...)
	out = append(out, brokenJSON()...)
	out = append(out, brokenParquet()...)
	out = append(out, brokenBytes()...)
	return out
}

// brokenCells puts one cell that is no reading into every format.
func brokenCells() []brokenFile {
	var out []brokenFile
	for k, c := range []struct {
		class, cell, value string
		kind               ProblemKind
		text               bool // in text formats only
	}{
		{class: "a word", cell: "OPEN", kind: NotANumber},
		{class: "a formula", cell: `=HYPERLINK("http://x")`, kind: NotANumber},
		{class: "a formula after @", cell: "@SUM(A1:A9)", kind: NotANumber},
		{class: "a formula after a sign", cell: "-1+1", kind: NotANumber},
		{class: "an error code", cell: "-999", kind: BelowAbsoluteZero},
		{class: "a number too large", cell: "1e999", kind: NotANumber},
		{class: "a number of 500 digits", cell: "5" + strings.Repeat("0", 499), kind: NotANumber},
		{class: "another unit", cell: "41 °F", kind: MixedUnit},
		{class: "infinity", cell: "-Inf", kind: NotANumber},
		{class: "two points", cell: "5..25", kind: NotANumber},
		{class: "hexadecimal", cell: "0x1F", kind: NotANumber},
		{class: "NUL bytes", cell: "5.\x00\x00", kind: NULBytes, text: true},
	} {
		for _, f := range formats {
			if c.text && !f.text {
				continue
			}
			rows := soundRows()
			row := 3 + k%5
			rows[row][1] = c.cell
			out = append(out, brokenFile{Name: fmt.Sprintf("cell-%02d.%s", k+1, f.name), Class: c.class + " for a number", bytes: f.write(rows),
				Rows: 12, Kept: 12, Missing: []int{1, 0}, Problems: []string{problemOf(row, row, "core °C", c.kind, c.cell)}})
		}
	}
	return out
}

// brokenTimes spoils the times of a log.
func brokenTimes() []brokenFile {
	var out []brokenFile
	add := func(name, class string, rows [][]string, want brokenFile) {
		want.Name, want.Class, want.Rows = "time-"+name, class, len(rows)-1
		if want.Missing == nil {
			want.Missing = []int{0, 0}
		}
		want.bytes = delimited(rows, ",")
		out = append(out, want)
	}
	one := func(name, class, cell string, row int, want brokenFile) {
		rows := soundRows()
		rows[row][0] = cell
		add(name+".csv", class, rows, want)
	}
	none := func(row int, cell string) brokenFile {
		return brokenFile{Kept: 11, Problems: []string{problemOf(row, row, "time", NotATime, cell)}}
	}
	for k, cell := range []string{"2026-02-30T10:00:03Z", "2026-03-01T25:00:00Z", "2026-13-01T10:00:03Z", "2026-03-01 10:00:03", "-0001-03-01T10:00:03Z", "12026-03-01T10:00:03Z", "", "#VALUE!", "2026-03-01T10:00:03+99:99", "1e300"} {
		one(fmt.Sprintf("absurd-%02d", k+1), "a time that is none", cell, 4, none(4, cell))
	}
	one("year-1", "a date in the year 1", "0001-01-01T00:00:00Z", 1, brokenFile{Kept: 12, Gaps: 1})
	one("year-9999", "a date in the year 9999", "9999-12-31T23:59:59Z", 12, brokenFile{Kept: 12, Gaps: 1})
	one("ahead", "a time far ahead of the rows behind it", "2099-12-31T23:59:59Z", 4, brokenFile{Kept: 11, Problems: []string{problemOf(4, 4, "", StrayTime, "")}})
	one("ahead-first", "a time far ahead of the rows behind it", "2099-12-31T23:59:59Z", 1, brokenFile{Kept: 11, Problems: []string{problemOf(1, 1, "", StrayTime, "")}})
	one("twice", "a time that comes twice", "2026-03-01T10:00:02Z", 4, brokenFile{Kept: 11, Problems: []string{problemOf(4, 4, "", DuplicateTime, "")}})
	one("back", "a time before the one before", "2026-03-01T09:00:00Z", 5, brokenFile{Kept: 11, Problems: []string{problemOf(5, 5, "", OutOfOrder, "")}})

	// A leap second is the first of the next minute (RFC 3339, section 5.6
	// allows second 60): the second after it repeats it.
	leap := [][]string{{"time", "core °C", "pan °C"}}
	for i, s := range []string{"23:59:57", "23:59:58", "23:59:59", "23:59:60"} {
		leap = append(leap, []string{"2016-12-31T" + s + "Z", "5." + strconv.Itoa(i), "200"})
	}
	for i, s := range []string{"00:00:00", "00:00:01", "00:00:02"} {
		leap = append(leap, []string{"2017-01-01T" + s + "Z", "6." + strconv.Itoa(i), "200"})
	}
	add("leap-second.csv", "a leap second", leap, brokenFile{Kept: 6, Problems: []string{problemOf(5, 5, "", DuplicateTime, "")}})

	// Local clocks put forward leave a gap; put back, they repeat an hour, whose
	// rows are kept out.
	clock := func(from, to int, day string) (rows [][]string) { // minutes
		for m := from; m < to; m += 10 {
			rows = append(rows, []string{fmt.Sprintf("%s %02d:%02d:00", day, m/60, m%60), "5.5", "200"})
		}
		return rows
	}
	head := [][]string{{"time", "core °C", "pan °C"}}
	add("clock-forward.csv", "a clock put forward", slices.Concat(head, clock(60, 120, "2026-03-29"), clock(180, 240, "2026-03-29")), brokenFile{Kept: 12, Gaps: 1})
	add("clock-back.csv", "a clock put back", slices.Concat(head, clock(120, 180, "2026-10-25"), clock(120, 240, "2026-10-25")),
		brokenFile{Kept: 12, Problems: []string{problemOf(7, 7, "", ClockJump, ""), problemOf(7, 12, "", OutOfOrder, "")}})

	// The two orders of a date in one column.
	orders := [][]string{{"time", "core °C", "pan °C"}}
	for i, d := range []string{"13/6/2026", "14/6/2026", "15/6/2026", "6/16/2026", "17/6/2026"} {
		orders = append(orders, []string{fmt.Sprintf("%s 10:00:0%d", d, i), "5.5", "200"})
	}
	add("two-orders.csv", "dates in two orders", orders, brokenFile{Kept: 4, Gaps: 0, Problems: []string{problemOf(4, 4, "time", NotATime, "6/16/2026 10:00:03")}})
	return out
}

// brokenTexts spoils the rows of a text table.
func brokenTexts() []brokenFile {
	text := string(delimited(soundRows(), ","))
	lines := strings.SplitAfter(strings.TrimSuffix(text, "\n"), "\n")
	lines[12] += "\n"
	join := func(l []string) []byte { return []byte(strings.Join(l, "")) }
	with := func(row int, f func(string) string) []byte {
		l := slices.Clone(lines)
		l[row] = f(l[row])
		return join(l)
	}
	cut := func(n int) []byte { return []byte(text[:len(text)-n]) }
	whole := func(missing ...int) brokenFile { return brokenFile{Rows: 12, Kept: 12, Missing: missing} }
	is := func(b brokenFile, name, class string, in []byte, problems ...string) brokenFile {
		b.Name, b.Class, b.bytes, b.Problems = "text-"+name+".csv", class, in, problems
		return b
	}
	refused := func(name, class string, in []byte, codes ...string) brokenFile {
		return brokenFile{Name: "text-" + name + ".csv", Class: class, Errors: codes, bytes: in}
	}
	nul := func(n int) string { return strings.Repeat("\x00", n) }
	double := slices.Clone(soundRows())
	double[0] = []string{"time", "core °C", "core °C"}
	blank := strings.ReplaceAll(text, "\n", "\r\n\r\n \r\n")
	out := []brokenFile{
		is(whole(0, 0), "cut-in-number", "cut in the last number", cut(2), problemOf(12, 12, "pan °C", MayBeCut, "21")),
		is(brokenFile{Rows: 12, Kept: 12, Missing: []int{0, 1}}, "cut-before-number", "cut before the last number", cut(4), problemOf(12, 12, "pan °C", MayBeCut, "")),
		is(brokenFile{Rows: 12, Kept: 11, Missing: []int{0, 0}}, "cut-in-row", "cut inside the last row", cut(6), problemOf(12, 12, "pan °C", CutOff, "")),
		is(brokenFile{Rows: 12, Kept: 11, Missing: []int{0, 0}}, "cut-in-time", "cut inside the last time", cut(16), problemOf(12, 12, "core °C", CutOff, ""), problemOf(12, 12, "time", NotATime, "2026-03-01T10:")),
		is(whole(0, 1), "short-row", "a row too short", with(5, func(s string) string { return s[:strings.LastIndexByte(s, ',')] + "\n" }), problemOf(5, 5, "pan °C", ShortRow, "")),
		is(whole(0, 0), "long-row", "a row too long", with(5, func(s string) string { return strings.TrimSuffix(s, "\n") + ",,7\n" }), problemOf(5, 5, "", LongRow, ",7")),
		is(brokenFile{Rows: 13, Kept: 12, Missing: []int{0, 0}}, "header-again", "the header again", with(5, func(s string) string { return s + lines[0] }), problemOf(6, 6, "", RepeatedHeader, "")),
		is(whole(0, 0), "blank-lines", "blank lines", []byte(blank)),
		is(whole(0, 0), "duplicate-columns", "two columns of one name", delimited(double, ",")),
		is(whole(0, 0), "text-behind-quote", "text behind a closing quote", with(5, func(s string) string { return strings.Replace(s, ",", `,"`, 1)[:26] + `"5` + s[25:] }), problemOf(5, 5, "", BadQuote, "2026-03-01T10:00:04Z,\"6.25\"5,204\n")),
		is(whole(1, 0), "other-bytes", "bytes that are no UTF-8", with(5, func(s string) string { return strings.Replace(s, "6.25", "6\xff\xfe\x80", 1) }), problemOf(5, 5, "core °C", NotANumber, "6ÿþ€")),
		is(whole(1, 0), "UTF-16-inside", "a line of UTF-16 in UTF-8", with(5, func(s string) string { return strings.Replace(s, "6.25", "6\x00.\x002\x005\x00", 1) }), problemOf(5, 5, "core °C", NULBytes, "6\x00.\x002\x005\x00")),
		is(brokenFile{Rows: 13, Kept: 12, Missing: []int{0, 0}}, "NUL-tail", "zero bytes behind the last row", append([]byte(text), nul(40)...), problemOf(13, 13, "time", NotATime, nul(40)), problemOf(13, 13, "core °C", CutOff, "")),
		is(whole(0, 0), "delimiters-mixed", "a row with another delimiter", with(5, func(s string) string { return s })),
		refused("open-quote", "a quote that does not close", with(5, func(s string) string { return strings.Replace(s, ",", `,"`, 1) }), "log-quote"),
		refused("nothing", "an empty file", nil, "log-empty"),
		refused("line-ends", "line ends alone", []byte("\n\r\n\r\r\n"), "log-empty"),
		refused("NUL-only", "zero bytes alone", []byte(nul(4096)), "log-binary", "log-no-table"),
		refused("binary", "a binary file", append([]byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"), nul(504)...), "log-binary"),
		refused("no-time", "no column of times", []byte("a,b\nx,y\nz,w\n"), "log-no-time", "log-no-table"),
		refused("long-line", "a line without end", []byte("t,a\n0,"+strings.Repeat("5", 2*small.MaxLine)), "log-line"),
		refused("wide", "more columns than are read", []byte(strings.Repeat("5,", 5000)+"5\n"+strings.Repeat("6,", 5000)+"5\n"), "log-columns"),
	}
	semi := with(5, func(s string) string { return strings.ReplaceAll(s, ",", ";") })
	out = append(out, brokenFile{Name: "text-semicolons.csv", Class: "a row with another delimiter", bytes: semi, Rows: 12, Kept: 11, Missing: []int{0, 0},
		Problems: []string{problemOf(5, 5, "core °C", ShortRow, ""), problemOf(5, 5, "time", NotATime, "2026-03-01T10:00:04Z;6.25;204")}})
	u16 := utf16([]byte(text), unicode.BigEndian)
	out = append(out, brokenFile{Name: "text-UTF-16-odd.csv", Class: "UTF-16 cut in a letter", bytes: u16[:len(u16)-1], Rows: 12, Kept: 12, Missing: []int{0, 1},
		Problems: []string{problemOf(12, 12, "pan °C", NotANumber, "211�"), problemOf(12, 12, "pan °C", MayBeCut, "211�")}})
	return slices.DeleteFunc(out, func(b brokenFile) bool { return b.Name == "text-delimiters-mixed.csv" })
}

// brokenPacks are packed files that are cut, spoilt or bombs.
func brokenPacks() []brokenFile {
	text := delimited(soundRows(), ",")
	var out []brokenFile
	refuse := func(name, class string, in []byte, codes ...string) {
		out = append(out, brokenFile{Name: "pack-" + name, Class: class, Errors: codes, bytes: in})
	}
	g, z := gz(text), zst(text)
	for _, n := range []int{1, 9} { // inside the checksum and in front of it
		out = append(out, brokenFile{Name: fmt.Sprintf("pack-cut-%d.gz", n), Class: "gzip cut off", bytes: g[:len(g)-n], Rows: 12, Kept: 12, Missing: []int{0, 0},
			Problems: []string{problemOf(12, 12, "", PackingCut, "")}, Notes: []string{"log-packed-cut"}})
	}
	refuse(fmt.Sprintf("cut-%d.gz", len(g)/2), "gzip cut off inside the first row", g[:len(g)/2], "log-no-time", "log-no-table")
	refuse(fmt.Sprintf("cut-%d.gz", len(g)-12), "gzip cut off before its text", g[:12], "log-read", "log-compression")
	for _, n := range []int{1, 9, len(z) / 2, len(z) - 6} {
		refuse(fmt.Sprintf("cut-%d.zst", n), "zstd cut off", z[:len(z)-n], "log-read", "log-compression")
	}
	out = append(out, cutPacks()...)
	sum := bytes.Clone(g)
	sum[len(sum)-5] ^= 0xff
	refuse("checksum.gz", "gzip with a wrong checksum", sum, "log-read")
	sum = bytes.Clone(z)
	sum[len(sum)-1] ^= 0xff
	refuse("checksum.zst", "zstd with a wrong checksum", sum, "log-read")
	refuse("twice.gz", "gzip in gzip", gz(g), "log-binary", "log-no-table")
	bomb := append([]byte("time_s,core °C\n"), bytes.Repeat([]byte("0,5\n"), 8<<20)...)
	refuse("bomb.gz", "a bomb", gz(bomb), "log-size")
	refuse("bomb.zst", "a bomb", zst(bomb), "log-size")
	refuse("window.zst", "zstd that asks for a great window", []byte{0x28, 0xb5, 0x2f, 0xfd, 0x00, 0xf8, 0x01, 0x00, 0x00}, "log-read", "log-compression")
	return out
}

// cutPacks are packed logs of some length that break off half way. What is
// left is what the packing library itself gives of them; the rows of it that
// end are kept.
func cutPacks() []brokenFile {
	rows := soundRows()[:1]
	r := rand.New(rand.NewPCG(2026, 11))
	for i := range 9000 { // several blocks of 128 KiB
		rows = append(rows, []string{fmt.Sprintf("2026-03-01T%02d:%02d:%02dZ", 10+i/3600, i/60%60, i%60), strconv.FormatFloat(5.25+float64(r.IntN(400))/4, 'f', 2, 64), strconv.Itoa(200 + r.IntN(13))})
	}
	var out []brokenFile
	for _, f := range []struct {
		name string
		text []byte
		pack func([]byte) []byte
		json bool
	}{
		{"half.csv.gz", delimited(rows, ","), gz, false}, {"half.csv.zst", delimited(rows, ","), zst, false}, {"half.jsonl.gz", jsonObjects(rows, "", "\n", "\n"), gz, true},
	} {
		in := f.pack(f.text)
		in = in[:len(in)/2]
		var r io.Reader
		var err error
		if r, err = gzip.NewReader(bytes.NewReader(in)); strings.HasSuffix(f.name, ".zst") {
			r, err = zstd.NewReader(bytes.NewReader(in))
		}
		if err != nil {
			panic(err)
		}
		text, err := io.ReadAll(r)
		if err == nil || !bytes.HasPrefix(f.text, text) || len(text) == 0 || bytes.HasSuffix(text, []byte("\n")) {
			panic(fmt.Sprint(f.name, " does not break off in a row: ", err))
		}
		b := brokenFile{Name: "pack-" + f.name, Class: "a packed log cut off half way", bytes: in, Missing: []int{0, 0}, Notes: []string{"log-packed-cut"}}
		last := text[bytes.LastIndexByte(text, '\n')+1:]
		if b.Rows = bytes.Count(text, []byte{'\n'}); f.json {
			b.Rows++
			b.Problems = append(b.Problems, problemOf(b.Rows, b.Rows, "", BadJSON, ""), problemOf(b.Rows, b.Rows, "time", NotATime, ""))
		} else {
			names := []string{"time", "core °C", "pan °C"}
			cells := strings.Split(string(last), ",")
			if len(cells) == 3 {
				panic(f.name + " breaks off in the last cell")
			}
			b.Problems = append(b.Problems, problemOf(b.Rows, b.Rows, names[len(cells)], CutOff, ""))
			if len(cells) == 1 {
				b.Problems = append(b.Problems, problemOf(b.Rows, b.Rows, "time", NotATime, cells[0]))
			}
		}
		b.Kept = b.Rows - 1
		b.Problems = append(b.Problems, problemOf(b.Rows, b.Rows, "", PackingCut, ""))
		out = append(out, b)
	}
	return out
}

// zipped packs files into an archive.
func zipped(files ...string) []byte {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i+1 < len(files); i += 2 {
		w, err := z.Create(files[i])
		if err != nil {
			panic(err)
		}
		io.WriteString(w, files[i+1])
	}
	z.Close()
	return b.Bytes()
}

// spoiltZip is an archive with one of its files changed or, where f gives "",
// left out.
func spoiltZip(in []byte, name string, f func(string) string) []byte {
	z, err := zip.NewReader(bytes.NewReader(in), int64(len(in)))
	if err != nil {
		panic(err)
	}
	var files []string
	hit := false
	for _, x := range z.File {
		r, err := x.Open()
		if err != nil {
			panic(err)
		}
		b, err := io.ReadAll(r)
		if err != nil {
			panic(err)
		}
		text := string(b)
		if x.Name == name {
			hit = true
			if text = f(text); text == "" {
				continue
			}
		}
		files = append(files, x.Name, text)
	}
	if !hit {
		panic("no file " + name)
	}
	return zipped(files...)
}

// partsOf are the texts of files in an archive, "" for those that are not
// there; nil for no archive.
func partsOf(in []byte, names ...string) []string {
	z, err := zip.NewReader(bytes.NewReader(in), int64(len(in)))
	if err != nil {
		return nil
	}
	out := make([]string, len(names))
	for i, name := range names {
		f, err := z.Open(name)
		if err != nil {
			continue
		}
		b, err := io.ReadAll(io.LimitReader(f, 1<<20))
		f.Close()
		if err != nil {
			return nil
		}
		out[i] = string(b)
	}
	return out
}

// brokenBooks are workbooks with something wrong inside.
func brokenBooks() []brokenFile {
	var out []brokenFile
	refuse := func(name, class string, in []byte, codes ...string) {
		out = append(out, brokenFile{Name: "book-" + name, Class: class, Errors: codes, bytes: in})
	}
	loads := func(name, class string, in []byte, missing []int, problems ...string) {
		out = append(out, brokenFile{Name: "book-" + name, Class: class, bytes: in, Rows: 12, Kept: 12, Missing: missing, Problems: problems})
	}
	replace := func(old, new string) func(string) string {
		return func(s string) string {
			if !strings.Contains(s, old) {
				panic("no " + old + " in " + s)
			}
			return strings.Replace(s, old, new, 1)
		}
	}
	const sheet, shared = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"
	book := xlsx(soundRows(), "Sheet1", 1, 1, false)
	for _, n := range []int{30, 300, len(book) / 2, len(book) - 60} {
		refuse(fmt.Sprintf("cut-%d.xlsx", n), "a workbook cut off", book[:len(book)-n], "log-workbook", "log-packed")
	}
	refuse("no-sheet.xlsx", "a workbook without its sheet", spoiltZip(book, sheet, func(string) string { return "" }), "log-workbook", "log-empty")
	refuse("no-book.xlsx", "a workbook without its list of sheets", spoiltZip(book, "xl/workbook.xml", func(string) string { return "" }), "log-workbook", "log-empty")
	refuse("sheet-cut.xlsx", "a sheet that ends inside a row", spoiltZip(book, sheet, func(s string) string { return s[:strings.Index(s, `<row r="8"`)+30] }), "log-workbook")
	refuse("sheet-noise.xlsx", "a sheet that is no XML", spoiltZip(book, sheet, func(string) string { return "\x00\x01<<<>>>" }), "log-workbook", "log-empty")
	refuse("strings-cut.xlsx", "shared texts that are cut off", spoiltZip(book, shared, func(s string) string { return s[:len(s)/2] }), "log-workbook")
	refuse("strings-gone.xlsx", "shared texts that are missing", spoiltZip(book, shared, func(string) string { return "" }), "log-workbook")
	refuse("far-column.xlsx", "a cell beyond the last column", spoiltZip(book, sheet, replace(`r="B8"`, `r="ZZZZ8"`)), "log-workbook", "log-columns")
	refuse("many-columns.xlsx", "a cell in column 16384", spoiltZip(book, sheet, replace(`r="C8"`, `r="XFD8"`)), "log-columns")
	refuse("bomb.xlsx", "a workbook that is a bomb", spoiltZip(book, sheet, func(s string) string {
		return strings.Replace(s, "<sheetData>", "<sheetData>"+strings.Repeat(" ", 40<<20), 1)
	}), "log-line")
	refuse("entities.xlsx", "entities in entities", spoiltZip(book, sheet, func(s string) string {
		return `<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]>` + strings.Replace(s, "<v>5.25</v>", "<v>&c;</v>", 1)
	}), "log-workbook")
	refuse("other.zip", "an archive of something else", zipped("log.csv", "t,a\n0,1\n"), "log-packed")
	refuse("empty.zip", "an archive of nothing", zipped(), "log-packed", "log-binary", "log-no-table", "log-workbook")
	core := func(kind ProblemKind, value string) string { return problemOf(7, 7, "core °C", kind, value) }
	b8 := `<c r="B8"><v>6.75</v></c>`
	loads("error-cell.xlsx", "a cell that holds an error", spoiltZip(book, sheet, replace(b8, `<c r="B8" t="e"><v>#DIV/0!</v></c>`)), []int{1, 0}, core(NotANumber, "#DIV/0!"))
	loads("truth-cell.xlsx", "a cell that holds a truth value", spoiltZip(book, sheet, replace(b8, `<c r="B8" t="b"><v>1</v></c>`)), []int{1, 0}, core(NotANumber, "TRUE"))
	loads("formula-cell.xlsx", "a formula without its value", spoiltZip(book, sheet, replace(b8, `<c r="B8"><f>NOW()</f></c>`)), []int{1, 0})
	loads("inline-cell.xlsx", "a text inside its cell", spoiltZip(book, sheet, replace(b8, `<c r="B8" t="inlineStr"><is><t>OPEN</t></is></c>`)), []int{1, 0}, core(NotANumber, "OPEN"))
	refuse("string-index.xlsx", "a shared text that is not there", spoiltZip(book, sheet, replace(b8, `<c r="B8" t="s"><v>999</v></c>`)), "log-workbook")
	text := xlsx(soundRows(), "Sheet1", 1, 1, true)
	loads("all-text.xlsx", "numbers kept as texts", text, []int{0, 0})

	page := odsOf(soundRows(), "probe", 1, 1, false)
	const content = "content.xml"
	for _, n := range []int{30, 300, len(page) / 2} {
		refuse(fmt.Sprintf("cut-%d.ods", n), "a spreadsheet cut off", page[:len(page)-n], "log-workbook", "log-packed")
	}
	at := `office:value="6.75"><text:p>6.75</text:p>`
	refuse("content-cut.ods", "content that ends inside a row", spoiltZip(page, content, func(s string) string { return s[:strings.Index(s, at)] }), "log-workbook")
	refuse("content-noise.ods", "content that is no XML", spoiltZip(page, content, func(string) string { return "\x00\x01<<<>>>" }), "log-workbook")
	refuse("row-bomb.ods", "a row that is repeated without end", spoiltZip(page, content, replace("<table:table-row>", `<table:table-row table:number-rows-repeated="2000000000">`)), "log-size")
	refuse("cell-bomb.ods", "a cell that is repeated without end", spoiltZip(page, content, replace("<table:table-cell ", `<table:table-cell table:number-columns-repeated="2000000000" `)), "log-columns")
	refuse("bomb.ods", "a spreadsheet that is a bomb", spoiltZip(page, content, replace("<office:body>", "<office:body>"+strings.Repeat(" ", 40<<20))), "log-line")
	refuse("entities.ods", "entities in entities", spoiltZip(page, content, func(s string) string {
		return `<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>` + strings.Replace(strings.TrimPrefix(s, `<?xml version="1.0" encoding="UTF-8"?>`), "6.75", "&b;", 1)
	}), "log-workbook")
	loads("value.ods", "a value that is no number", spoiltZip(page, content, replace(at, `office:value="six"><text:p>6.75</text:p>`)), []int{1, 0}, core(NotANumber, "six"))
	loads("no-value.ods", "a number without a value", spoiltZip(page, content, replace(at, `><text:p>6.75</text:p>`)), []int{1, 0})
	loads("error.ods", "a cell that holds an error", spoiltZip(page, content, replace(`office:value-type="float" `+at, `office:value-type="string"><text:p>Err:502</text:p>`)), []int{1, 0}, core(NotANumber, "Err:502"))
	return out
}

// brokenJSON are documents and lines that JSON has its own ways to break.
func brokenJSON() []brokenFile {
	rows := soundRows()
	lines := jsonObjects(rows, "", "\n", "\n")
	doc := jsonObjects(rows, "[\n", ",\n", "\n]\n")
	is := func(b brokenFile, name, class string, in []byte, problems ...string) brokenFile {
		b.Name, b.Class, b.bytes, b.Problems = "json-"+name, class, in, problems
		return b
	}
	all := brokenFile{Rows: 12, Kept: 12, Missing: []int{0, 0}}
	one := brokenFile{Rows: 12, Kept: 12, Missing: []int{1, 0}}
	torn := brokenFile{Rows: 12, Kept: 11, Missing: []int{0, 0}}
	bad := func(row int) []string {
		return []string{problemOf(row, row, "", BadJSON, ""), problemOf(row, row, "time", NotATime, "")}
	}
	with := func(in []byte, old, new string) []byte {
		if !bytes.Contains(in, []byte(old)) {
			panic(old)
		}
		return bytes.Replace(in, []byte(old), []byte(new), 1)
	}
	deep := func(n int) string { return strings.Repeat(`{"a":`, n) + "1" + strings.Repeat("}", n) }
	lists := is(all, "list.jsonl", "a list for a value", with(lines, `"pan °C":206`, `"pan °C":206,"raw":[1,2]`))
	lists.Notes = []string{"log-lists"}
	return []brokenFile{
		is(torn, "cut.jsonl", "a line cut off", lines[:len(lines)-9], bad(12)...),
		is(torn, "cut.json", "an array cut off", doc[:len(doc)-12], bad(12)...),
		is(torn, "no-object.jsonl", "a line that is no object", with(lines, `{"time":"2026-03-01T10:00:06Z","core °C":6.75,"pan °C":206}`, `[1,2,3]`), bad(7)...),
		is(torn, "no-object.json", "an element that is no object", with(doc, `{"time":"2026-03-01T10:00:06Z","core °C":6.75,"pan °C":206}`, `null`), bad(7)...),
		is(torn, "two-in-a-line.jsonl", "two objects in a line", with(lines, `"pan °C":206}`, `"pan °C":206}{"a":1}`), bad(7)...),
		is(torn, "deep.jsonl", "objects in objects", with(lines, `"pan °C":206`, `"pan °C":206,"x":`+deep(40)), bad(7)...),
		is(one, "huge.jsonl", "a number too large", with(lines, "6.75", "6.75e400"), problemOf(7, 7, "core °C", NotANumber, "6.75e400")),
		is(one, "huge.json", "a number too large", with(doc, "6.75", "1"+strings.Repeat("0", 450)), problemOf(7, 7, "core °C", NotANumber, "1"+strings.Repeat("0", 450))),
		is(all, "name-twice.jsonl", "a name that comes twice", with(lines, `"core °C":6.75`, `"core °C":99,"core °C":6.75`), problemOf(7, 7, "core °C", RepeatedName, "6.75")),
		is(all, "name-twice.json", "a name that comes twice", with(doc, `"core °C":6.75`, `"core °C":99,"core °C":6.75`), problemOf(7, 7, "core °C", RepeatedName, "6.75")),
		is(one, "null.jsonl", "null for a value", with(lines, "6.75", "null")),
		is(one, "truth.jsonl", "a truth value", with(lines, "6.75", "true"), problemOf(7, 7, "core °C", NotANumber, "true")),
		is(one, "gone.jsonl", "a name that is missing", with(lines, `"core °C":6.75,`, "")),
		is(one, "surrogate.jsonl", "half a letter", with(lines, "6.75", `"\ud800"`), problemOf(7, 7, "core °C", NotANumber, "�")),
		lists,
		{Name: "json-deep.json", Class: "arrays in arrays", bytes: []byte(strings.Repeat("[", 30000)), Errors: []string{"log-json", "log-no-table"}},
		{Name: "json-deep-objects.jsonl", Class: "objects in objects", bytes: []byte(deep(20000) + "\n"), Errors: []string{"log-json", "log-no-table", "log-line"}},
		{Name: "json-empty.json", Class: "an empty array", bytes: []byte("[]\n"), Errors: []string{"log-json", "log-no-table", "log-empty"}},
		{Name: "json-plain.json", Class: "an array of numbers", bytes: []byte("[\n[1,2],\n[3"), Errors: []string{"log-json", "log-no-table", "log-no-time"}},
		{Name: "json-long.json", Class: "one great element", bytes: []byte(`[{"time":0,"a":"` + strings.Repeat("x", 5*small.MaxLine) + `"}]`), Errors: []string{"log-line", "log-json"}},
		{Name: "json-names.jsonl", Class: "more names than columns are read", bytes: manyNames(5000), Errors: []string{"log-columns", "log-line"}},
	}
}

func manyNames(n int) []byte {
	var b strings.Builder
	b.WriteString(`{"time":0`)
	for i := range n {
		fmt.Fprintf(&b, `,"c%d":1`, i)
	}
	b.WriteString("}\n")
	return []byte(b.String())
}

// brokenParquet spoils the parts of a Parquet file.
func brokenParquet() []brokenFile {
	whole := parquetRows(soundRows())
	var out []brokenFile
	refuse := func(name, class string, in []byte, codes ...string) {
		out = append(out, brokenFile{Name: "parquet-" + name + ".parquet", Class: class, Errors: codes, bytes: in})
	}
	spoil := func(at int, b ...byte) []byte {
		in := bytes.Clone(whole)
		copy(in[at:], b)
		return in
	}
	n := len(whole)
	footer := int(binary.LittleEndian.Uint32(whole[n-8:]))
	for _, k := range []int{1, 8, footer / 2, n / 2, n - 5} {
		refuse(fmt.Sprintf("cut-%d", k), "a Parquet file cut off", whole[:n-k], "log-parquet")
	}
	refuse("footer-length", "a footer longer than the file", spoil(n-8, 0xff, 0xff, 0xff, 0x7f), "log-parquet")
	refuse("footer-none", "a footer of no length", spoil(n-8, 0, 0, 0, 0), "log-parquet", "log-no-table", "log-empty")
	refuse("footer-noise", "a footer that is noise", spoil(n-8-footer, bytes.Repeat([]byte{0xff}, footer)...), "log-parquet")
	refuse("magic", "a wrong ending", spoil(n-4, 'X'), "log-parquet")
	r := rand.New(rand.NewPCG(2026, 7))
	for k := range 6 {
		in := bytes.Clone(whole)
		for range 1 + k {
			in[4+r.IntN(n-8-footer)] ^= 1 << r.IntN(8)
		}
		out = append(out, brokenFile{Name: fmt.Sprintf("parquet-page-%d.parquet", k+1), Class: "pages with flipped bits", bytes: in, Either: true})
	}
	type nested struct {
		Time  string    `parquet:"time"`
		Cores []float64 `parquet:"core,list"`
	}
	var b bytes.Buffer
	w := parquet.NewGenericWriter[nested](&b)
	w.Write([]nested{{"2026-03-01T10:00:00Z", []float64{1, 2}}})
	w.Close()
	out = append(out, brokenFile{Name: "parquet-lists.parquet", Class: "lists alone", bytes: b.Bytes(), Rows: 1, Kept: 1, Notes: []string{"log-lists"}})
	return out
}

// brokenBytes flips bytes at random in every format: what becomes of them is
// not known beforehand, but the account must be sound.
func brokenBytes() []brokenFile {
	var out []brokenFile
	r := rand.New(rand.NewPCG(2026, 5))
	for _, f := range formats {
		whole := f.write(soundRows())
		for k := range 3 {
			in := bytes.Clone(whole)
			for range 1 + 2*k {
				in[r.IntN(len(in))] ^= 1 << r.IntN(8)
			}
			out = append(out, brokenFile{Name: fmt.Sprintf("flipped-%d.%s", k+1, f.name), Class: "flipped bits", bytes: in, Either: true})
		}
	}
	return out
}
