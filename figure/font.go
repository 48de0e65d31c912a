package figure

import (
	"regexp"
	"strings"
	"sync"
	"unicode/utf8"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// The typeface is Go (Bigelow & Holmes, BSD licence), shipped by
// golang.org/x/image. It covers WGL4, so °, ½, ′, ±, ≥, δ and subscripts
// print.
const fontFamily = "Go"

var fontData = [3][]byte{goregular.TTF, gobold.TTF, goitalic.TTF}

// face is one cut of the typeface, parsed once.
type face struct {
	font *sfnt.Font
	mu   sync.Mutex
	buf  sfnt.Buffer
	wide map[rune]float64 // advance in em
}

var faces = sync.OnceValue(func() [3]*face {
	var out [3]*face
	for i, data := range fontData {
		f, err := sfnt.Parse(data)
		if err != nil {
			panic("figure: built-in typeface: " + err.Error())
		}
		out[i] = &face{font: f, wide: map[rune]float64{}}
	}
	return out
})

const (
	ascent  = 0.74 // height of capitals and digits, em
	descent = 0.22 // depth of g and y, em
	leading = 1.3  // baseline to baseline, em
)

// advance returns the advance of a rune in em.
func (f *face) advance(r rune) float64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	if w, ok := f.wide[r]; ok {
		return w
	}
	const em = 1 << 10
	w := 0.5
	if g, err := f.font.GlyphIndex(&f.buf, r); err == nil {
		if a, err := f.font.GlyphAdvance(&f.buf, g, fixed.I(em), font.HintingNone); err == nil {
			w = float64(a) / 64 / em
		}
	}
	f.wide[r] = w
	return w
}

// outline calls back with the contours of a rune, y downwards, in em.
func (f *face) outline(r rune) (sfnt.Segments, float64) {
	const em = 1 << 10
	f.mu.Lock()
	defer f.mu.Unlock()
	g, err := f.font.GlyphIndex(&f.buf, r)
	if err != nil {
		return nil, em
	}
	segs, err := f.font.LoadGlyph(&f.buf, g, fixed.I(em), nil)
	if err != nil {
		return nil, em
	}
	return append(sfnt.Segments(nil), segs...), em
}

// Has reports whether the typeface has a glyph for r.
func (w Weight) Has(r rune) bool {
	f := faces()[w]
	f.mu.Lock()
	defer f.mu.Unlock()
	g, err := f.font.GlyphIndex(&f.buf, r)
	return err == nil && g != 0
}

// Width returns the width of s set in weight w at size px.
func Width(s string, w Weight, px float64) float64 {
	f := faces()[w]
	sum := 0.0
	for _, r := range s {
		sum += f.advance(r)
	}
	return sum * px
}

// Box returns the box the text covers.
func (t Text) Box() Box {
	w := Width(t.S, t.Weight, t.Size)
	off := 0.0
	switch t.Anchor {
	case Middle:
		off = w / 2
	case End:
		off = w
	}
	if t.Turned {
		return Box{t.X - ascent*t.Size, t.Y + off - w, (ascent + descent) * t.Size, w}
	}
	return Box{t.X - off, t.Y - ascent*t.Size, w, (ascent + descent) * t.Size}
}

// Wrap breaks s into lines no wider than width at spaces and line ends, never
// at a no-break space; a word wider than that is broken, never clipped.
func Wrap(s string, w Weight, px, width float64) []string {
	space := Width(" ", w, px)
	var lines []string
	for _, para := range strings.Split(keepUnits(s), "\n") {
		var line strings.Builder
		used := 0.0
		for _, word := range strings.FieldsFunc(para, func(r rune) bool { return r == ' ' || r == '\t' }) {
			for _, part := range breakWord(word, w, px, width) {
				pw := Width(part, w, px)
				switch {
				case line.Len() == 0:
					used = pw
				case used+space+pw <= width:
					line.WriteByte(' ')
					used += space + pw
				default:
					lines = append(lines, line.String())
					line.Reset()
					used = pw
				}
				line.WriteString(part)
			}
		}
		lines = append(lines, line.String())
	}
	return lines
}

// loneUnit finds a unit that would look lost at the start of a line.
var loneUnit = regexp.MustCompile(`(\d) (°[CF]|points?|min|s|h|mm|cm|in|g|kg|lb|N|J|kJ|W)\b`)

// percentSign is apart since % is no word character.
var percentSign = regexp.MustCompile(`(\d) %`)

// keepUnits ties numbers to their units by a no-break space.
func keepUnits(s string) string {
	return percentSign.ReplaceAllString(loneUnit.ReplaceAllString(s, "$1\u00a0$2"), "$1\u00a0%")
}

// breakWord cuts a word that is wider than width, after a hyphen where it can.
func breakWord(word string, w Weight, px, width float64) []string {
	if Width(word, w, px) <= width {
		return []string{word}
	}
	var out []string
	from, cut, used := 0, 0, 0.0 // start of the piece, the last place to cut after it, its width
	f := faces()[w]
	for i, r := range word {
		a := f.advance(r) * px
		if i > from && used+a > width {
			if cut <= from {
				cut = i
			}
			out = append(out, word[from:cut])
			used = Width(word[cut:i], w, px)
			from = cut
		}
		used += a
		if strings.ContainsRune("-–/_", r) {
			cut = i + utf8.RuneLen(r)
		}
	}
	return append(out, word[from:])
}

// Fit shortens s with an ellipsis until it is no wider than width.
func Fit(s string, w Weight, px, width float64) string {
	if Width(s, w, px) <= width {
		return s
	}
	f := faces()[w]
	used := f.advance('…') * px
	for i, r := range s {
		used += f.advance(r) * px
		if used > width {
			if t := strings.TrimRight(s[:i], " ,;·-"); t != "" {
				return t + "…"
			}
			return "…"
		}
	}
	return s
}
