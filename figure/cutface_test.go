package figure

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"trivet/doneness"
	"trivet/fault"
)

var cutfaceDir = flag.String("cutface", "", "write the cut-face examples as PNG into this folder, to look at")

// madeSection is a section whose peak temperature falls from the faces (and
// the rim of a disc) to the core.
func madeSection(at string, diameterM, faceC, coreC float64) Section {
	const rows, thickness = 40, 0.038
	cols := 1
	if diameterM > 0 {
		cols = 16
	}
	s := Section{At: at, Says: "core 34 °C; starting to firm", ThicknessM: thickness, DiameterM: diameterM, TopSide: "B", BottomSide: "A"}
	for c := range cols {
		s.RadiusM = append(s.RadiusM, diameterM/2*(float64(c)+0.5)/float64(cols))
	}
	m := doneness.For(doneness.Beef)
	for r := range rows {
		z := (float64(r) + 0.5) / rows
		s.HeightM = append(s.HeightM, z*thickness)
		var peaks []float64
		var colours []doneness.Lab
		for c := range cols {
			u := 0.0
			if cols > 1 {
				u = s.RadiusM[c] / (diameterM / 2)
			}
			far := math.Max(math.Pow(2*math.Abs(z-0.5), 2), math.Pow(u, 4)*0.6)
			peak := coreC + (faceC-coreC)*far
			var state doneness.State
			m.Advance(&state, peak, peak, 240)
			peaks, colours = append(peaks, peak), append(colours, m.CutColour(state))
		}
		s.PeakC, s.Colour = append(s.PeakC, peaks), append(s.Colour, colours)
		s.NowC = append(s.NowC, coreC+(faceC-coreC)*0.8*math.Pow(2*math.Abs(z-0.5), 2))
	}
	return s
}

func cutfaceExamples() map[string]CutFace {
	disc := CutPiece{Name: "spooned with fat", Sections: []Section{madeSection("at the pull, 11 min", 0.07, 105, 34), madeSection("at the end, 21 min", 0.07, 105, 53)}}
	plain := CutPiece{Name: "plain", Sections: []Section{madeSection("at the pull, 12 min", 0.07, 95, 34), madeSection("at the end, 22 min", 0.07, 95, 46)}}
	slab := CutPiece{Name: "slab", Sections: []Section{madeSection("at the pull", 0, 120, 45), madeSection("at the end", 0, 120, 58)}}
	return map[string]CutFace{
		"cut-two":  {Title: "Invented data: two discs, spooned and plain", Pieces: []CutPiece{plain, disc}},
		"cut-slab": {Title: "Invented data: a slab", Pieces: []CutPiece{slab}, Fahrenheit: true, Cautions: []string{"Raw or undercooked animal food can make people ill."}},
		"cut-one":  {Pieces: []CutPiece{{Sections: slab.Sections[:1]}}},
	}
}

func TestCutFace(t *testing.T) {
	for name, fig := range cutfaceExamples() {
		for _, size := range []Size{Phone, Page, HD} {
			sc, err := fig.Scene(size, Light)
			if err != nil {
				t.Fatalf("%s at %s: %v", name, size.Name, err)
			}
			b := sc.Bounds()
			if b.X < 0 || b.Y < 0 || b.Right() > size.W+0.5 || b.Bottom() > sc.Size.H+0.5 {
				t.Errorf("%s at %s reaches %+v beyond %v × %v", name, size.Name, b, size.W, sc.Size.H)
			}
			caution, smallest := false, math.Inf(1)
			sc.Texts(func(x Text, _ Box) {
				caution = caution || strings.Contains(x.S, "Colour does not") || strings.Contains(x.S, "temperature was reached")
				smallest = math.Min(smallest, x.Size)
			})
			if !caution {
				t.Errorf("%s at %s lacks the caution", name, size.Name)
			}
			if smallest < size.TextPx*0.7 {
				t.Errorf("%s at %s has text of %v px", name, size.Name, smallest)
			}
			if *cutfaceDir != "" {
				f, err := os.Create(filepath.Join(*cutfaceDir, name+"-"+size.Name+".png"))
				if err != nil {
					t.Fatal(err)
				}
				if err := sc.WritePNG(f, PNGOptions{}); err != nil {
					t.Fatal(err)
				}
				f.Close()
			}
		}
	}
}

// Two sections of different thickness are drawn to one scale.
func TestCutFaceIsToScale(t *testing.T) {
	thin, thick := madeSection("now", 0, 90, 40), madeSection("now", 0, 90, 40)
	thin.ThicknessM /= 2
	for i := range thin.HeightM {
		thin.HeightM[i] /= 2
	}
	sc, err := CutFace{Pieces: []CutPiece{{"thin", []Section{thin}}, {"thick", []Section{thick}}}}.Scene(HD, Light)
	if err != nil {
		t.Fatal(err)
	}
	var heights []float64
	var walk func(*Group)
	walk = func(g *Group) {
		if g.Title == "colour of the cut face" {
			top, bottom := math.Inf(1), math.Inf(-1)
			for _, n := range g.Nodes {
				for _, s := range n.(Path).Segs {
					if s.Kind != Close {
						top, bottom = math.Min(top, s.P.Y), math.Max(bottom, s.P.Y)
					}
				}
			}
			heights = append(heights, bottom-top)
		}
		for _, n := range g.Nodes {
			if sub, ok := n.(*Group); ok {
				walk(sub)
			}
		}
	}
	walk(&sc.Root)
	if len(heights) != 2 || math.Abs(heights[1]/heights[0]-2) > 1e-9 {
		t.Errorf("drawn heights %v, want a ratio of 2", heights)
	}
}

// On a sheet of fixed height the sections take what room there is, and no
// heading is cut short.
func TestCutFaceFillsTheSheet(t *testing.T) {
	fig := cutfaceExamples()["cut-two"]
	fig.Title = "Two discs"
	sc, err := fig.Scene(HD, Light)
	if err != nil {
		t.Fatal(err)
	}
	drawn := 0.0
	var walk func(*Group)
	walk = func(g *Group) {
		if g.Title == "colour of the cut face" {
			b := (&Scene{Root: *g, Size: HD}).Bounds()
			drawn += b.W * b.H
		}
		for _, n := range g.Nodes {
			if sub, ok := n.(*Group); ok {
				walk(sub)
			}
		}
	}
	walk(&sc.Root)
	if share := drawn / (HD.W * HD.H); share < 0.28 {
		t.Errorf("the sections cover %.0f %% of the sheet", 100*share)
	}
	sc.Texts(func(x Text, _ Box) {
		if strings.Contains(x.S, "…") {
			t.Errorf("cut short: %q", x.S)
		}
	})
}

func TestCutFaceRefusesWhatDisagrees(t *testing.T) {
	bad := madeSection("now", 0, 90, 40)
	bad.NowC = bad.NowC[:3]
	none := madeSection("now", 0, 90, 40)
	none.ThicknessM = 0
	for name, f := range map[string]CutFace{"no pieces": {}, "rows": {Pieces: []CutPiece{{"x", []Section{bad}}}}, "thickness": {Pieces: []CutPiece{{"x", []Section{none}}}}} {
		if _, err := f.Scene(Page, Light); fault.As(err) == nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestCutFaceTable(t *testing.T) {
	f := cutfaceExamples()["cut-two"]
	tab := f.Table()
	if len(tab.Rows) != 160 || len(tab.Rows[0]) != len(tab.Columns) || !strings.Contains(tab.Caption, doneness.ColourCaution) {
		t.Errorf("table of %d rows: %v", len(tab.Rows), tab.Columns)
	}
	if !strings.Contains(f.Alt(), doneness.ColourCaution) {
		t.Error("the text for screen readers lacks the caution")
	}
}

// Lines of a radial field lie on circles; their length is the circumference.
func TestIsolines(t *testing.T) {
	var f field
	for i := range 81 {
		f.x = append(f.x, float64(i-40)/40)
		f.y = append(f.y, float64(i-40)/40)
	}
	for _, y := range f.y {
		row := make([]float64, len(f.x))
		for i, x := range f.x {
			row[i] = math.Hypot(x, y)
		}
		f.v = append(f.v, row)
	}
	lines := joined(f.isolines(0.713))
	if len(lines) != 1 {
		t.Fatalf("%d lines, want one closed circle", len(lines))
	}
	length := 0.0
	for i, p := range lines[0] {
		if r := math.Hypot(p.X, p.Y); math.Abs(r-0.713) > 1e-3 {
			t.Fatalf("a point at radius %v", r)
		}
		if i > 0 {
			length += math.Hypot(p.X-lines[0][i-1].X, p.Y-lines[0][i-1].Y)
		}
	}
	if math.Abs(length-2*math.Pi*0.713) > 0.01 {
		t.Errorf("length %v, want %v", length, 2*math.Pi*0.713)
	}
}

func BenchmarkCutFace(b *testing.B) {
	b.ReportAllocs()
	f := cutfaceExamples()["cut-two"]
	for range b.N {
		sc, err := f.Scene(HD, Light)
		if err != nil {
			b.Fatal(err)
		}
		var buf bytes.Buffer
		if err := sc.WriteSVG(&buf, SVGOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}
