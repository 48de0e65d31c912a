package logfile

import (
	"archive/zip"
	"bufio"
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/parquet-go/parquet-go"

	"trivet/fault"
	"trivet/trace"
)

// bigRows hands n rows of a log to row: a time at 10 Hz in tenths of a second
// and eight channels in tenths of a degree that drift with noise.
func bigRows(n int, row func(i int, tenths *[8]int)) {
	noise := uint64(1)
	var v [8]int
	for i := range n {
		for c := range v {
			noise = noise*6364136223846793005 + 1442695040888963407 // Knuth's MMIX generator
			v[c] = 200 + 100*c + i/100%500 + int(noise>>62)
		}
		row(i, &v)
	}
}

var channelNames = []string{"core", "d05", "d10", "d15", "d20", "surface A", "pan", "air"}

// bigFormats write a log of n rows into a file as it is made: nothing of it is
// kept. They tell how many bytes of text were packed.
var bigFormats = []struct {
	name  string
	rows  int
	write func(w io.Writer, n int) (int64, error)
}{
	{"xlsx", 200_000, writeBigXLSX},
	{"xlsx-texts", 100_000, writeBigTexts},
	{"ods", 80_000, writeBigODS},
	{"parquet", 1_000_000, writeBigParquet},
	{"json", 80_000, writeBigJSON},
}

func tenths(b []byte, v int) []byte {
	return append(strconv.AppendInt(b, int64(v/10), 10), '.', byte('0'+v%10))
}

// zipText writes a part of an archive.
func zipText(z *zip.Writer, name, text string) error {
	w, err := z.Create(name)
	if err != nil {
		return err
	}
	_, err = io.WriteString(w, text)
	return err
}

// xlsxAround writes all of a workbook but its sheet and its shared texts.
func xlsxAround(z *zip.Writer) error {
	const (
		relsNS   = `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">`
		officeNS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
		mainNS   = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
	)
	for _, p := range [][2]string{
		{"_rels/.rels", relsNS + `<Relationship Id="a" Type="` + officeNS + `/officeDocument" Target="xl/workbook.xml"/></Relationships>`},
		{"xl/workbook.xml", `<workbook xmlns="` + mainNS + `" xmlns:r="` + officeNS + `"><sheets><sheet name="log" sheetId="1" r:id="s"/></sheets></workbook>`},
		{"xl/_rels/workbook.xml.rels", relsNS + `<Relationship Id="s" Type="` + officeNS + `/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="t" Type="` + officeNS + `/sharedStrings" Target="sharedStrings.xml"/></Relationships>`},
	} {
		if err := zipText(z, p[0], p[1]); err != nil {
			return err
		}
	}
	return nil
}

type countWriter struct {
	w io.Writer
	n int64
}

func (c *countWriter) Write(p []byte) (int, error) {
	c.n += int64(len(p))
	return c.w.Write(p)
}

// part writes a part of an archive in pieces.
func bigPart(z *zip.Writer, name string, f func(w *bufio.Writer)) (int64, error) {
	w, err := z.Create(name)
	if err != nil {
		return 0, err
	}
	c := &countWriter{w: w}
	b := bufio.NewWriterSize(c, 64<<10)
	f(b)
	return c.n, b.Flush()
}

func writeBigXLSX(w io.Writer, n int) (int64, error) {
	z := zip.NewWriter(w)
	if err := xlsxAround(z); err != nil {
		return 0, err
	}
	if err := zipText(z, "xl/sharedStrings.xml", `<sst/>`); err != nil {
		return 0, err
	}
	size, err := bigPart(z, "xl/worksheets/sheet1.xml", func(w *bufio.Writer) {
		w.WriteString(`<worksheet><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>time_s</t></is></c>`)
		for c, name := range channelNames {
			fmt.Fprintf(w, `<c r="%c1" t="inlineStr"><is><t>%s</t></is></c>`, 'B'+c, name)
		}
		w.WriteString("</row>")
		var b, ref []byte
		bigRows(n, func(i int, v *[8]int) {
			ref = strconv.AppendInt(ref[:0], int64(i+2), 10)
			b = append(append(append(b[:0], `<row r="`...), ref...), `">`...)
			for c := range 9 {
				b = append(append(append(b, `<c r="`...), byte('A'+c)), ref...)
				b = append(b, `"><v>`...)
				if c == 0 {
					b = tenths(b, i)
				} else {
					b = tenths(b, v[c-1])
				}
				b = append(b, `</v></c>`...)
			}
			w.Write(append(b, `</row>`...))
		})
		w.WriteString(`</sheetData></worksheet>`)
	})
	if err != nil {
		return 0, err
	}
	return size, z.Close()
}

// writeBigTexts writes a workbook whose times are shared texts, each of them
// once, and whose readings are texts too.
func writeBigTexts(w io.Writer, n int) (int64, error) {
	z := zip.NewWriter(w)
	if err := xlsxAround(z); err != nil {
		return 0, err
	}
	at := time.Date(2026, 5, 1, 14, 3, 7, 0, time.UTC)
	size, err := bigPart(z, "xl/sharedStrings.xml", func(w *bufio.Writer) {
		w.WriteString(`<sst><si><t>time</t></si><si><t>core</t></si>`)
		var b []byte
		for i := range n {
			b = at.Add(time.Duration(i)*100*time.Millisecond).AppendFormat(append(b[:0], `<si><t>`...), "2006-01-02T15:04:05.000Z")
			w.Write(append(b, `</t></si>`...))
		}
		for v := range 1000 {
			fmt.Fprintf(w, `<si><t>%d.%d</t></si>`, v/10, v%10)
		}
		w.WriteString(`</sst>`)
	})
	if err != nil {
		return 0, err
	}
	more, err := bigPart(z, "xl/worksheets/sheet1.xml", func(w *bufio.Writer) {
		w.WriteString(`<worksheet><sheetData><row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="s"><v>1</v></c></row>`)
		bigRows(n, func(i int, v *[8]int) {
			fmt.Fprintf(w, `<row r="%d"><c r="A%d" t="s"><v>%d</v></c><c r="B%d" t="s"><v>%d</v></c></row>`, i+2, i+2, i+2, i+2, n+2+v[0])
		})
		w.WriteString(`</sheetData></worksheet>`)
	})
	if err != nil {
		return 0, err
	}
	return size + more, z.Close()
}

func writeBigODS(w io.Writer, n int) (int64, error) {
	z := zip.NewWriter(w)
	if err := zipText(z, "mimetype", "application/vnd.oasis.opendocument.spreadsheet"); err != nil {
		return 0, err
	}
	size, err := bigPart(z, "content.xml", func(w *bufio.Writer) {
		w.WriteString(`<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body><office:spreadsheet><table:table table:name="log"><table:table-row>`)
		for _, name := range append([]string{"time_s"}, channelNames...) {
			w.WriteString(`<table:table-cell office:value-type="string"><text:p>` + name + `</text:p></table:table-cell>`)
		}
		w.WriteString(`</table:table-row>`)
		var b, num []byte
		bigRows(n, func(i int, v *[8]int) {
			b = append(b[:0], `<table:table-row>`...)
			for c := range 9 {
				if c == 0 {
					num = tenths(num[:0], i)
				} else {
					num = tenths(num[:0], v[c-1])
				}
				b = append(append(append(b, `<table:table-cell office:value-type="float" office:value="`...), num...), `"><text:p>`...)
				b = append(append(b, num...), `</text:p></table:table-cell>`...)
			}
			w.Write(append(b, `</table:table-row>`...))
		})
		w.WriteString(`</table:table></office:spreadsheet></office:body></office:document-content>`)
	})
	if err != nil {
		return 0, err
	}
	return size, z.Close()
}

func writeBigParquet(w io.Writer, n int) (int64, error) {
	type row struct {
		Time float64 `parquet:"time_s"`
		Core float64 `parquet:"core,zstd"`
		D05  float64 `parquet:"d05,zstd"`
		D10  float64 `parquet:"d10,zstd"`
		D15  float64 `parquet:"d15,zstd"`
		D20  float64 `parquet:"d20,zstd"`
		A    float64 `parquet:"surface A,zstd"`
		Pan  float64 `parquet:"pan,zstd"`
		Air  float64 `parquet:"air,zstd"`
	}
	p := parquet.NewGenericWriter[row](w, parquet.MaxRowsPerRowGroup(125_000))
	rows := make([]row, 0, 1000)
	var err error
	bigRows(n, func(i int, v *[8]int) {
		f := func(c int) float64 { return float64(v[c]) / 10 }
		if rows = append(rows, row{float64(i) / 10, f(0), f(1), f(2), f(3), f(4), f(5), f(6), f(7)}); len(rows) == cap(rows) || i == n-1 {
			if _, e := p.Write(rows); e != nil {
				err = e
			}
			rows = rows[:0]
		}
	})
	if err != nil {
		return 0, err
	}
	return int64(n) * 9 * 8, p.Close()
}

func writeBigJSON(w io.Writer, n int) (int64, error) {
	c := &countWriter{w: w}
	b := bufio.NewWriterSize(c, 64<<10)
	b.WriteString("{\"logger\": \"x\",\n\"rows\": [\n")
	var line []byte
	bigRows(n, func(i int, v *[8]int) {
		if i > 0 {
			b.WriteString(",\n")
		}
		line = tenths(append(line[:0], `{"time_s":`...), i)
		for c, name := range channelNames {
			line = append(append(append(line, `,"`...), name...), `":`...)
			line = tenths(line, v[c])
		}
		b.Write(append(line, '}'))
	})
	b.WriteString("\n]}\n")
	return c.n, b.Flush()
}

// writeBig writes a log of n rows to a file.
func writeBig(t testing.TB, name string, n int, write func(io.Writer, int) (int64, error)) (unpacked int64) {
	t.Helper()
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if unpacked, err = write(f, n); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return unpacked
}

// heapSink notes how much of the heap is in use whenever samples come.
type heapSink struct {
	stored
	most uint64
}

func (h *heapSink) Samples(first int, pieces []trace.Trace) error {
	h.most = max(h.most, heapInUse())
	return h.stored.Samples(first, pieces)
}

func heapInUse() uint64 {
	s := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	metrics.Read(s)
	return s[0].Value.Uint64()
}

// Workbooks, Parquet files and JSON documents go into stored traces in a
// window of memory, the first ones in less than they unpack to.
func TestBigFilesTakeAWindow(t *testing.T) {
	if testing.Short() {
		t.Skip("makes and reads files that unpack to some 70 MB each")
	}
	for _, c := range bigFormats {
		t.Run(c.name, func(t *testing.T) {
			name := filepath.Join(t.TempDir(), "log")
			unpacked := writeBig(t, name, c.rows, c.write)
			f, err := os.Open(name)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			info, err := f.Stat()
			if err != nil {
				t.Fatal(err)
			}
			// Little garbage is let lie, so that what is counted is what is held.
			defer debug.SetGCPercent(debug.SetGCPercent(20))
			runtime.GC()
			runtime.GC() // what pools held is gone at the second
			before := heapInUse()
			sink := &heapSink{}
			start := time.Now()
			log, err := Load(f, LoadOptions{Sink: sink})
			if err != nil {
				t.Fatal(err)
			}
			if log.Account.Kept != c.rows || len(log.Account.Problems) > 0 || sink.samples != len(log.Traces)*c.rows || log.Extents[0].Present != c.rows {
				t.Fatalf("%d of %d rows, %d samples: %v", log.Account.Kept, c.rows, sink.samples, log.Account.Problems)
			}
			heap := float64(int64(sink.most)-int64(before)) / 1e6
			t.Logf("%d MB, unpacked %d MB: at most %.0f MB more on the heap, %.1f s", info.Size()/1e6, unpacked/1e6, heap, time.Since(start).Seconds())
			if heap > 45 {
				t.Errorf("%.0f MB on the heap", heap)
			}
		})
	}
}

// memoryScratch is a scratch in memory.
type memoryScratch struct {
	bytes.Buffer
	closed *int
}

func (m *memoryScratch) ReadAt(p []byte, at int64) (int, error) {
	return bytes.NewReader(m.Bytes()).ReadAt(p, at)
}

func (m *memoryScratch) Close() error {
	*m.closed++
	return nil
}

// A workbook or a Parquet file gives one account, traces and hash, whether it
// can be read at any place, comes as a stream, or is packed, with a scratch or
// without.
func TestAtAnyPlaceOrNot(t *testing.T) {
	for _, c := range bigFormats {
		t.Run(c.name, func(t *testing.T) {
			var b bytes.Buffer
			if _, err := c.write(&b, 700); err != nil {
				t.Fatal(err)
			}
			want, err := Load(bytes.NewReader(b.Bytes()), LoadOptions{})
			if err != nil || want.Account.Kept != 700 {
				t.Fatal(err)
			}
			opened, closed := 0, 0
			scratch := func() (Scratch, error) {
				opened++
				return &memoryScratch{closed: &closed}, nil
			}
			for name, in := range map[string]io.Reader{"stream": io.MultiReader(bytes.NewReader(b.Bytes())), "gzip": bytes.NewReader(gz(b.Bytes())), "zstd": io.MultiReader(bytes.NewReader(zst(b.Bytes())))} {
				for _, opt := range []LoadOptions{{}, {Scratch: scratch}} {
					got, err := Load(in, opt)
					if err != nil {
						t.Fatalf("%s: %v", name, err)
					}
					if name != "stream" {
						got.SHA256 = want.SHA256
						for _, tr := range got.Traces {
							tr.Source = want.SHA256
						}
						got.Guess.Layout.Compression = ""
					}
					if d := cmp.Diff(want, got, cmp.Comparer(trace.Bitmap.Equal), cmpopts.IgnoreUnexported(Guess{}, Layout{}, ColumnLayout{})); d != "" {
						t.Errorf("%s: %s", name, d)
					}
					if s, ok := in.(io.Seeker); ok {
						s.Seek(0, io.SeekStart)
					} else {
						in = io.MultiReader(bytes.NewReader(b.Bytes()))
						if name == "zstd" {
							in = io.MultiReader(bytes.NewReader(zst(b.Bytes())))
						}
					}
				}
			}
			for range 3 { // let go of early
				if _, err := Inspect(bytes.NewReader(gz(b.Bytes())), Options{Scratch: scratch}); err != nil {
					t.Fatal(err)
				}
			}
			if want := 6; c.name != "json" && opened != want || opened != closed {
				t.Errorf("%d scratches were opened and %d closed", opened, closed)
			}
		})
	}
}

// Shared texts beyond their room in memory come back from the scratch.
func TestSharedTextsSpill(t *testing.T) {
	closed := 0
	x := texts{scratch: func() (Scratch, error) { return &memoryScratch{closed: &closed}, nil }}
	text := func(i int) string { return strings.Repeat(strconv.Itoa(i)+"é", i%40) }
	const n = 400_001
	for i := range n {
		if err := x.add(text(i)); err != nil {
			t.Fatal(err)
		}
	}
	if err := x.seal(); err != nil || x.file == nil || x.room > mostTextBytes+1<<20 {
		t.Fatal(err, x.room)
	}
	for i := 0; i < n; i += 1 + i%97 {
		for _, k := range []int{i, n - 1 - i, i} {
			if got, err := x.at(k); err != nil || got != text(k) {
				t.Fatalf("text %d is %q, %v", k, got, err)
			}
		}
	}
	x.close()
	if closed != 1 {
		t.Error("the scratch is left")
	}
	x = texts{}
	var err error
	long := strings.Repeat("x", 1<<16)
	for range mostTextBytesHeld>>16 + groupTexts {
		if err = x.add(long); err != nil {
			break
		}
	}
	if f := fault.As(err); f == nil || f.Code != "log-size" {
		t.Errorf("without a scratch: %v", err)
	}
}

// What a workbook or a Parquet file may ask of the memory is bounded before
// it is given.
func TestTrapsInBigFormats(t *testing.T) {
	sheet := func(cells string) []byte {
		return otherBook(`<row><c t="s"><v>0</v></c><c t="s"><v>1</v></c></row>`+cells, "")
	}
	var many bytes.Buffer
	z := zip.NewWriter(&many)
	for i := range 320_000 { // a directory of 17 MB
		if _, err := z.CreateHeader(&zip.FileHeader{Name: "xl/" + strconv.Itoa(i)}); err != nil {
			t.Fatal(err)
		}
	}
	z.Close()
	for _, c := range []struct {
		name, code string
		in         []byte
	}{
		{"a comment without end", "log-line", sheet("<!--" + strings.Repeat("x", 3<<20) + "-->")},
		{"an attribute without end", "log-line", sheet(`<row spans="` + strings.Repeat("1", 3<<20) + `"/>`)},
		{"elements in elements", "log-workbook", sheet(strings.Repeat("<a>", 300) + strings.Repeat("</a>", 300))},
		{"a text longer than a cell's", "log-line", sheet(`<row><c t="str"><v>` + strings.Repeat("5", 1<<17) + `</v></c></row>`)},
		{"a row of long texts", "log-line", sheet("<row>" + strings.Repeat(`<c t="str"><v>`+strings.Repeat("x", 60_000)+`</v></c>`, 20) + "</row>")},
		{"much more than it takes", "log-size", sheet(strings.Repeat("<row><c/><x>"+strings.Repeat(" ", 60_000)+"</x></row>", 900))},
		{"a directory without end", "log-size", many.Bytes()},
		{"a repeated row without end", "log-size", ods(odsTable("a", `<table:table-row><table:table-cell office:value-type="string"><text:p>time_s</text:p></table:table-cell><table:table-cell office:value-type="string"><text:p>core</text:p></table:table-cell></table:table-row>`+
			strings.Repeat(`<table:table-row table:number-rows-repeated="1000000"><table:table-cell table:number-columns-repeated="2" office:value-type="float" office:value="1"/></table:table-row>`, 20)))},
	} {
		t.Run(c.name, func(t *testing.T) {
			var err error
			within(t, func() {
				_, err = Load(bytes.NewReader(c.in), LoadOptions{Sink: Discard, Limits: Limits{MaxBytes: 64 << 20}})
			})
			if f := fault.As(err); f == nil || string(f.Code) != c.code {
				t.Errorf("%v, want %s", err, c.code)
			}
		})
	}
}

// grown is a file that had fewer bytes when its length was asked.
type grown struct {
	*bytes.Reader
	was int64
}

func (g grown) Seek(to int64, from int) (int64, error) {
	if from == io.SeekEnd {
		return g.was, nil
	}
	return g.Reader.Seek(to, from)
}

// A file that is read at any place and grows before it is hashed is refused:
// its hash would not be that of what was read.
func TestAFileThatGrowsMeanwhile(t *testing.T) {
	b := xlsx(soundRows(), "Sheet1", 1, 1, false)
	for _, more := range []string{"", "more"} {
		_, err := Load(grown{bytes.NewReader(append(bytes.Clone(b), more...)), int64(len(b))}, LoadOptions{})
		if f := fault.As(err); (f == nil || f.Code != "log-changed") == (more != "") {
			t.Errorf("%d bytes more: %v", len(more), err)
		}
	}
}
