package figure

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"encoding/xml"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"trivet/fault"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// each calls f for every example at every size and theme.
func each(t *testing.T, f func(t *testing.T, ex example, s *Scene)) {
	t.Helper()
	for _, ex := range examples() {
		for _, size := range []Size{Phone, Page, HD, UHD} {
			for _, theme := range []Theme{Light, Dark, Print} {
				if theme.Name != "light" && size.Name != "phone" {
					continue // the layout does not depend on the theme
				}
				t.Run(ex.name+"/"+size.Name+"/"+theme.Name, func(t *testing.T) {
					s, err := ex.fig.Scene(size, theme)
					if err != nil {
						t.Fatal(err)
					}
					f(t, ex, s)
				})
			}
		}
	}
}

func TestNothingLeavesTheSheet(t *testing.T) {
	each(t, func(t *testing.T, _ example, s *Scene) {
		b := s.Bounds()
		if b.X < -0.5 || b.Y < -0.5 || b.Right() > s.Size.W+0.5 || b.Bottom() > s.Size.H+0.5 {
			t.Errorf("drawing covers %+v of a sheet %v × %v", b, s.Size.W, s.Size.H)
		}
	})
}

func TestLabelsDoNotOverlap(t *testing.T) {
	each(t, func(t *testing.T, _ example, s *Scene) {
		type placed struct {
			s string
			b Box
		}
		var all []placed
		s.Texts(func(x Text, b Box) {
			// The box of a line of text counts descenders and accents that
			// most lines lack; a quarter of it may touch.
			dy, dx := b.H*0.25, b.W*0.02
			b = Box{b.X + dx, b.Y + dy/2, b.W - 2*dx, b.H - dy}
			for _, o := range all {
				if b.X < o.b.Right() && o.b.X < b.Right() && b.Y < o.b.Bottom() && o.b.Y < b.Bottom() {
					t.Errorf("%q lies over %q", x.S, o.s)
				}
			}
			all = append(all, placed{x.S, b})
		})
	})
}

func TestTextIsLegibleAndInTheTypeface(t *testing.T) {
	least := map[string]float64{"phone": 11, "page": 11, "1080p": 15, "4k": 15}
	each(t, func(t *testing.T, _ example, s *Scene) {
		n := 0
		s.Texts(func(x Text, _ Box) {
			n++
			if x.Size < least[s.Size.Name] {
				t.Errorf("%q is %.1f px high", x.S, x.Size)
			}
			for _, r := range x.S {
				if !x.Weight.Has(r) {
					t.Errorf("%q: no glyph for %q", x.S, r)
				}
			}
		})
		if n < 4 {
			t.Errorf("only %d texts", n)
		}
	})
}

func TestFiguresSayWhatTheyShow(t *testing.T) {
	for _, ex := range examples() {
		t.Run(ex.name, func(t *testing.T) {
			if alt := ex.fig.Alt(); len(alt) < 40 || !strings.HasSuffix(alt, ".") || strings.Contains(alt, "NaN") || strings.Contains(alt, "Inf") {
				t.Errorf("alt text %q", alt)
			}
			table := ex.fig.Table()
			if len(table.Rows) == 0 {
				t.Fatal("empty table")
			}
			for _, row := range table.Rows {
				if len(row) != len(table.Columns) {
					t.Errorf("row %v has %d cells for %d columns", row, len(row), len(table.Columns))
				}
				for _, c := range row {
					if strings.Contains(c, "NaN") || strings.Contains(c, "Inf") {
						t.Errorf("cell %q", c)
					}
				}
			}
		})
	}
}

func TestInventedDataAreMarked(t *testing.T) {
	each(t, func(t *testing.T, _ example, s *Scene) {
		found := false
		s.Texts(func(x Text, _ Box) { found = found || x.S == InventedText })
		if !found {
			t.Error("the figure does not say that its data are invented")
		}
	})
}

func TestMistakesAreNamed(t *testing.T) {
	tests := []struct {
		name string
		fig  Figure
		code fault.Code
	}{
		{"no questions", AnswerLine{}, "figure-empty"},
		{"no margin", AnswerLine{Answers: []Answer{{Ask: "?", Estimate: 1}}}, "figure-input"},
		{"one treatment", BlockLines{Treatments: []string{"a"}}, "figure-input"},
		{"ragged block", BlockLines{Treatments: []string{"a", "b"}, Blocks: []BlockValues{{"1", []float64{1}}}}, "figure-input"},
		{"all missing", BlockLines{Treatments: []string{"a", "b"}, Blocks: []BlockValues{{"1", []float64{math.NaN(), math.NaN()}}}}, "figure-empty"},
		{"no traces", Traces{}, "figure-empty"},
		{"unknown treatment", Traces{Lines: []TraceLine{{Cook: "x", AtS: []float64{1}, Values: []float64{2}, Treatment: 3}}}, "figure-input"},
		{"no cooks", Losses{Parts: []string{"cooking"}}, "figure-empty"},
		{"four parts", Losses{Parts: make([]string, 4)}, "figure-input"},
		{"no answers", Chance{Guess: 0.5}, "figure-empty"},
		{"guess of 1", Chance{N: 5, Guess: 1}, "figure-input"},
		{"curve too short", Power{X: []float64{1, 2}, Curves: []Curve{{"a", []float64{1}}}}, "figure-input"},
		{"chance of 2", Power{X: []float64{1, 2}, Curves: []Curve{{"a", []float64{1, 2}}}}, "figure-input"},
		{"no curves", Power{}, "figure-empty"},
		{"negative variance", Components{Parts: []Component{{"a", -1}}}, "figure-input"},
		{"no variance", Components{Parts: []Component{{"a", 0}}}, "figure-empty"},
		{"empty ledger", Ledger{}, "figure-empty"},
		{"ragged ledger", Ledger{Treatments: []string{"a"}, In: []LedgerItem{{"x", nil}}}, "figure-input"},
		{"no blocks left out", LeaveOneOut{Estimate: 1}, "figure-empty"},
		{"no products", Ratings{}, "figure-empty"},
		{"ragged scores", Ratings{Products: []RatedProduct{{Name: "a"}}, Assessors: []AssessorScores{{"1", nil}}}, "figure-input"},
		{"no score", Ratings{Products: []RatedProduct{{Name: "a"}}, Assessors: []AssessorScores{{"1", []float64{math.NaN()}}}}, "figure-empty"},
		{"one product to rank", Ranks{Products: []RankedProduct{{Name: "a", Sum: 1, Ranks: []float64{1}}}}, "figure-empty"},
		{"rank of 3 among 2", Ranks{Products: []RankedProduct{{"a", 1, []float64{1}}, {"b", 3, []float64{3}}}}, "figure-input"},
		{"no sureness", SurenessCurve{}, "figure-empty"},
		{"rate of 2", SurenessCurve{Points: []RatePoint{{0, 0}, {0.5, 2}}}, "figure-input"},
		{"no sequence", SequentialPath{Slope: 0.5, Upper: 2, Lower: -2}, "figure-empty"},
		{"lines on one side", SequentialPath{Slope: 0.5, Upper: 2, Lower: 1, N: 3}, "figure-input"},
		{"decision beyond the answers", SequentialPath{Slope: 0.5, Upper: 2, Lower: -2, N: 3, At: 4}, "figure-input"},
		{"more correct than answers", Chance{N: 5, Guess: 0.5, Correct: 6}, "figure-input"},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			_, err := tc.fig.Scene(Page, Light)
			if e := fault.As(err); e == nil || e.Code != tc.code {
				t.Errorf("got %v, want code %s", err, tc.code)
			}
			tc.fig.Table() // must not fail on what Scene refuses
			tc.fig.Alt()
		})
	}
}

var embedded = regexp.MustCompile(`base64,[A-Za-z0-9+/=]+`)

func TestSVGGolden(t *testing.T) {
	for _, ex := range examples() {
		if !ex.golden {
			continue
		}
		t.Run(ex.name, func(t *testing.T) {
			s, err := ex.fig.Scene(Page, Light)
			if err != nil {
				t.Fatal(err)
			}
			var b bytes.Buffer
			if err := s.WriteSVG(&b, SVGOptions{ID: ex.name, Auto: true}); err != nil {
				t.Fatal(err)
			}
			// The packed typeface may differ with the compressor's version.
			got := embedded.ReplaceAll(b.Bytes(), []byte("base64,…"))
			file := filepath.Join("testdata", ex.name+".svg")
			if *update {
				if err := os.WriteFile(file, got, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				os.WriteFile(file+".got", got, 0o644)
				t.Errorf("differs from %s; see %s.got, or run with -update", file, file)
			}
		})
	}
}

func TestSVGIsWellFormedAndNamed(t *testing.T) {
	each(t, func(t *testing.T, _ example, s *Scene) {
		var b bytes.Buffer
		if err := s.WriteSVG(&b, SVGOptions{ID: "f", Inline: true}); err != nil {
			t.Fatal(err)
		}
		ids := map[string]bool{}
		d := xml.NewDecoder(bytes.NewReader(b.Bytes()))
		root := true
		for {
			tok, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			el, ok := tok.(xml.StartElement)
			if !ok {
				continue
			}
			attr := map[string]string{}
			for _, a := range el.Attr {
				attr[a.Name.Local] = a.Value
			}
			if root {
				root = false
				if attr["role"] != "img" || attr["aria-labelledby"] != "f-title f-desc" {
					t.Errorf("root attributes %v", attr)
				}
			}
			if id := attr["id"]; id != "" {
				if ids[id] {
					t.Errorf("id %q twice", id)
				}
				ids[id] = true
			}
			if _, ok := attr["style"]; ok {
				t.Error("a style attribute would need a loose content security policy")
			}
		}
		if !ids["f-title"] || !ids["f-desc"] {
			t.Error("no title or description")
		}
	})
}

// FuzzSVGText holds labels to XML: whatever data say, they stay text.
func FuzzSVGText(f *testing.F) {
	f.Add("a <b> & \"c\" \x01\x1b ]]> \xff \ufffe")
	f.Add("5 °C ½ ′ δ")
	f.Fuzz(func(t *testing.T, label string) {
		c := chance()
		c.Title, c.Note, c.Method = label, label, label
		s, err := c.Scene(Phone, Light)
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := s.WriteSVG(&b, SVGOptions{ID: "f", Inline: true}); err != nil {
			t.Fatal(err)
		}
		if err := xml.Unmarshal(b.Bytes(), new(struct{})); err != nil {
			t.Errorf("not XML: %v", err)
		}
		plain := chance()
		p, err := plain.Scene(Phone, Light)
		if err != nil {
			t.Fatal(err)
		}
		var want bytes.Buffer
		p.WriteSVG(&want, SVGOptions{ID: "f", Inline: true})
		for _, tag := range []string{"<g", "<style", "<script", "<image", "<a ", "<foreignObject"} {
			if got, most := strings.Count(b.String(), tag), strings.Count(want.String(), tag); got > most {
				t.Errorf("%d of %q, want at most %d", got, tag, most)
			}
		}
	})
}

var pdfStream = regexp.MustCompile(`(?s)stream\r?\n(.*?)\r?\nendstream`)

// TestPDFHoldsUnicode opens the streams of the file and looks for "°C" as
// the two-byte character codes of an embedded Unicode font. Where poppler's
// pdftotext is installed it must find the same text.
func TestPDFHoldsUnicode(t *testing.T) {
	s, err := traces(2, Both).Scene(Page, Light)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := s.WritePDF(&b); err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(b.Bytes(), []byte("%PDF-")) || !bytes.Contains(b.Bytes(), []byte("%%EOF")) {
		t.Fatal("not a PDF")
	}
	found := false
	for _, m := range pdfStream.FindAllSubmatch(b.Bytes(), -1) {
		r, err := zlib.NewReader(bytes.NewReader(m[1]))
		if err != nil {
			continue
		}
		data, _ := io.ReadAll(r)
		found = found || bytes.Contains(data, []byte("\x00\xb0\x00C"))
	}
	if !found {
		t.Error("no °C in the page")
	}
	var again bytes.Buffer
	if err := s.WritePDF(&again); err != nil || !bytes.Equal(b.Bytes(), again.Bytes()) {
		t.Error("the same scene gave other bytes")
	}
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Log("pdftotext is not installed; the streams were checked")
		return
	}
	file := filepath.Join(t.TempDir(), "f.pdf")
	if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	text, err := exec.Command(tool, file, "-").CombinedOutput()
	if err != nil {
		t.Fatalf("pdftotext: %v: %s", err, text)
	}
	for _, want := range []string{"core, °C", "°F", "Invented data", "time from heat on"} {
		if !strings.Contains(strings.ReplaceAll(string(text), "\u00a0", " "), want) {
			t.Errorf("pdftotext finds no %q in:\n%s", want, text)
		}
	}
}

func TestPNG(t *testing.T) {
	s, err := chance().Scene(HD, Light)
	if err != nil {
		t.Fatal(err)
	}
	img := s.Image(PNGOptions{})
	if b := img.Bounds(); b.Dx() != 1920 || b.Dy() != 1080 {
		t.Errorf("size %v, want 1920 × 1080", b)
	}
	if _, _, _, a := img.At(0, 0).RGBA(); a != 0xffff {
		t.Error("paper is not opaque")
	}
	clear := s.Image(PNGOptions{Transparent: true})
	ink := 0
	for i := 3; i < len(clear.Pix); i += 4 {
		if clear.Pix[i] > 0 {
			ink++
		}
	}
	if share := float64(ink) / float64(1920*1080); share < 0.005 || share > 0.6 {
		t.Errorf("ink covers %.3f of a transparent figure", share)
	}
	if _, _, _, a := clear.At(0, 0).RGBA(); a != 0 {
		t.Error("a transparent figure has paper")
	}
	four, err := chance().Scene(UHD, Light)
	if err != nil {
		t.Fatal(err)
	}
	if b := four.Image(PNGOptions{}).Bounds(); b.Dx() != 3840 || b.Dy() != 2160 {
		t.Errorf("size %v, want 3840 × 2160", b)
	}
}

func TestClipHidesWhatLiesOutside(t *testing.T) {
	s := &Scene{Size: Size{W: 40, H: 40, Ratio: 1}, Theme: Print}
	g := &Group{Clip: Circle(Point{20, 20}, 10)}
	g.Fill(Box{0, 0, 40, 40}, Hex(0xff0000))
	s.Root.Add(g)
	img := s.Image(PNGOptions{})
	red := func(x, y int) bool { c := img.RGBAAt(x, y); return c.R == 255 && c.G == 0 }
	if !red(20, 20) || !red(20, 12) {
		t.Error("inside the clip is not drawn")
	}
	if red(12, 12) || red(20, 8) || red(1, 1) {
		t.Error("outside the clip is drawn")
	}
}

// contrast is the ratio of WCAG 2.2, "relative luminance" and "contrast
// ratio" of its glossary.
func contrast(a, b RGB) float64 {
	lum := func(c RGB) float64 {
		lin := func(v uint8) float64 {
			x := float64(v) / 255
			if x <= 0.04045 {
				return x / 12.92
			}
			return math.Pow((x+0.055)/1.055, 2.4)
		}
		r, g, b := c.parts()
		return 0.2126*lin(r) + 0.7152*lin(g) + 0.0722*lin(b)
	}
	x, y := lum(a), lum(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

// Text must reach 4.5 : 1 (WCAG 2.2, 1.4.3); the first three treatments, all
// that most studies have, 3 : 1 (1.4.11). The paler colours of Okabe & Ito
// cannot, and are told apart by marker and dash.
func TestContrast(t *testing.T) {
	for _, theme := range []Theme{Light, Dark, Print} {
		for role, least := range map[Role]float64{Ink: 7, Muted: 4.5, S1: 3, S2: 3, S3: 3} {
			if got := contrast(theme.Colour(role), theme.Colour(Paper)); got < least {
				t.Errorf("%s: %s on paper has %.2f : 1, want %.1f", theme.Name, roleNames[role], got, least)
			}
		}
		if got := contrast(theme.Colour(Ink), theme.Colour(Band)); got < 7 {
			t.Errorf("%s: ink on the margin zone has %.2f : 1", theme.Name, got)
		}
	}
}

func TestWrap(t *testing.T) {
	tests := []struct {
		name, in string
		width    float64
		want     []string
	}{
		{"one line", "sear first", 200, []string{"sear first"}},
		{"two lines", "sear first then rest", 80, []string{"sear first", "then rest"}},
		{"number stays with its unit", "hotter by 5 °C", 80, []string{"hotter by", "5\u00a0°C"}},
		{"breaks after a hyphen", "water-bath-cooked", 80, []string{"water-bath-", "cooked"}},
		{"a long word is broken, not clipped", "unbreakableword", 60, []string{"unbreaka", "bleword"}},
		{"empty", "", 60, []string{""}},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			got := Wrap(tc.in, Regular, 14, tc.width)
			if fmt.Sprint(got) != fmt.Sprint(tc.want) {
				t.Errorf("got %q, want %q", got, tc.want)
			}
			for _, l := range got {
				if Width(l, Regular, 14) > tc.width {
					t.Errorf("%q is wider than %v", l, tc.width)
				}
			}
		})
	}
	if got := Fit("a very long label indeed", Regular, 14, 80); !strings.HasSuffix(got, "…") || Width(got, Regular, 14) > 80 {
		t.Errorf("Fit gave %q", got)
	}
}

// A long path is written in relative steps; read back, every point is within
// a tenth of a pixel of where it was.
func TestRelativePathsDoNotDrift(t *testing.T) {
	var pts []Point
	for i := range 2000 {
		pts = append(pts, Point{10 + float64(i)*0.137, 100 + 40*wobble(i, 1)})
	}
	data := pathData(append(Polygon(pts...), Polyline(pts[:30]...)...))
	var x, y float64
	var got []Point
	for _, m := range regexp.MustCompile(`([MlZ])?\s*(-?(?:\d+\.?\d*|\.\d+))\s*(-?(?:\d+\.?\d*|\.\d+))`).FindAllStringSubmatch(data, -1) {
		dx, err1 := strconv.ParseFloat(m[2], 64)
		dy, err2 := strconv.ParseFloat(m[3], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		if m[1] == "M" {
			x, y = 0, 0
		}
		x, y = x+dx, y+dy
		got = append(got, Point{x, y})
	}
	if len(got) != len(pts)+30 {
		t.Fatalf("%d points read back, want %d", len(got), len(pts)+30)
	}
	for i, p := range append(pts, pts[:30]...) {
		if math.Hypot(p.X-got[i].X, p.Y-got[i].Y) > 0.0708 {
			t.Fatalf("point %d is at %v, want %v", i, got[i], p)
		}
	}
}

// The embedded typeface must still be one: read back from its WOFF wrapping,
// the glyphs asked for have outlines and the others have none.
func TestWebFontKeepsTheGlyphsAskedFor(t *testing.T) {
	woff := webFont(Regular, "é°")
	u32 := func(i int) int { return int(binary.BigEndian.Uint32(woff[i:])) }
	if string(woff[:4]) != "wOFF" || u32(8) != len(woff) {
		t.Fatal("not a WOFF of its length")
	}
	tables := map[string][]byte{}
	for i := range int(binary.BigEndian.Uint16(woff[12:])) {
		at := 44 + 20*i
		data := woff[u32(at+4) : u32(at+4)+u32(at+8)]
		if u32(at+8) < u32(at+12) {
			r, err := zlib.NewReader(bytes.NewReader(data))
			if err != nil {
				t.Fatal(err)
			}
			if data, err = io.ReadAll(r); err != nil {
				t.Fatal(err)
			}
		}
		if len(data) != u32(at+12) || int(tableSum(data)) != u32(at+16) {
			t.Errorf("table %s: wrong length or sum", woff[at:at+4])
		}
		tables[string(woff[at:at+4])] = data
	}
	size := func(r rune) int {
		f := faces()[Regular]
		g, err := f.font.GlyphIndex(&f.buf, r)
		if err != nil {
			t.Fatal(err)
		}
		loca := tables["loca"][4*int(g):]
		return int(binary.BigEndian.Uint32(loca[4:])) - int(binary.BigEndian.Uint32(loca))
	}
	for r, want := range map[rune]bool{'é': true, '°': true, 'q': false, 'W': false} {
		if got := size(r) > 0; got != want {
			t.Errorf("outline of %q kept: %v, want %v", r, got, want)
		}
	}
}

func BenchmarkSVG(b *testing.B) {
	f := traces(20, Both)
	b.ReportAllocs()
	for b.Loop() {
		s, err := f.Scene(Page, Light)
		if err != nil {
			b.Fatal(err)
		}
		if err := s.WriteSVG(io.Discard, SVGOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPNG1080p(b *testing.B) {
	s, err := traces(20, Both).Scene(HD, Light)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if err := s.WritePNG(io.Discard, PNGOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

// However many blocks are left out, the figure stays of one height, names
// those that move the estimate furthest, and its table holds all.
func TestLeaveOneOutOfManyBlocks(t *testing.T) {
	heights := map[int]float64{}
	for _, n := range []int{40, 41, 400, 5000} {
		f := leaveOneOut(n)
		f.Left[n/2].Estimate, f.Left[n/3].Estimate = -3, 6
		sc, err := f.Scene(Page, Light)
		if err != nil {
			t.Fatal(err)
		}
		heights[n] = sc.Size.H
		var b strings.Builder
		if err := sc.WriteSVG(&b, SVGOptions{Inline: true, ID: "x"}); err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"without " + f.Left[n/2].Block, "without " + f.Left[n/3].Block} {
			if !strings.Contains(b.String(), want) {
				t.Errorf("%d blocks: %q is not named", n, want)
			}
		}
		if b.Len() > 250_000 {
			t.Errorf("%d blocks take %d bytes", n, b.Len())
		}
		if got := len(f.Table().Rows); got < n+1 {
			t.Errorf("%d blocks: %d rows in the table", n, got)
		}
	}
	if heights[400] != heights[5000] || heights[5000] > heights[40] {
		t.Errorf("heights %v", heights)
	}
}

// The losses of thousands of cooks take no longer sheet than those of a
// hundred, and no picture grows without end.
func TestLossesOfManyCooks(t *testing.T) {
	height := func(n int) float64 {
		f := Losses{Parts: []string{"cooking"}, Level: 0.95}
		for k := range 2 {
			x := TreatmentLoss{Name: string(rune('a' + k)), Mean: 15, Interval: Interval{14, 16}}
			for i := range n / 2 {
				x.Cooks = append(x.Cooks, CookLoss{fmt.Sprint(k, "-", i), []float64{10 + float64(i%97)/10}})
			}
			f.Treatments = append(f.Treatments, x)
		}
		sc, err := f.Scene(Page, Light)
		if err != nil {
			t.Fatal(err)
		}
		return sc.Size.H
	}
	if a, b := height(100), height(10_000); b > 1.1*a {
		t.Errorf("10,000 cooks take %g, 100 take %g", b, a)
	}
	sc := &Scene{Size: Size{W: 700, H: 1e6, Ratio: 2}}
	if b := sc.Image(PNGOptions{}).Bounds(); b.Dx()*b.Dy() > mostPixels*1.01 {
		t.Errorf("%v", b)
	}
}
