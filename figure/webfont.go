package figure

import (
	"bytes"
	"compress/zlib"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"sync"
)

// FontFaces returns CSS @font-face rules with the figures' typeface as data
// URIs, cut down to the runes of text, so that a page or file shows its
// figures as they were laid out wherever it is opened.
func FontFaces(text string) string {
	var b strings.Builder
	for w := Regular; w <= Italic; w++ {
		b.WriteString(fontFace(w, text))
	}
	return b.String()
}

// FontFacesAt returns the same rules for a server that hands the cuts out as
// files of their own, which a browser keeps and decodes once: put takes the
// name of a cut and its WOFF file and returns its URL. Until a cut is there
// its text is shown in the next typeface of the list.
func FontFacesAt(text string, put func(name string, woff []byte) string) string {
	var b strings.Builder
	for w, name := range []string{Regular: "go-regular.woff", Bold: "go-bold.woff", Italic: "go-italic.woff"} {
		b.WriteString(faceRule(Weight(w), put(name, webFont(Weight(w), text)), ";font-display:swap"))
	}
	return b.String()
}

// fontCSS returns the rules for the cuts and runes a scene uses.
func fontCSS(s *Scene) string {
	var text [3]strings.Builder
	s.Texts(func(t Text, _ Box) { text[t.Weight].WriteString(t.S) })
	var b strings.Builder
	for w := range text {
		if text[w].Len() > 0 {
			b.WriteString(fontFace(Weight(w), text[w].String()))
		}
	}
	return b.String()
}

func fontFace(w Weight, text string) string {
	return faceRule(w, "data:font/woff;base64,"+base64.StdEncoding.EncodeToString(webFont(w, text)), "")
}

func faceRule(w Weight, url, display string) string {
	weight, style := "400", "normal"
	switch w {
	case Bold:
		weight = "700"
	case Italic:
		style = "italic"
	}
	return fmt.Sprintf("@font-face{font-family:%s;font-weight:%s;font-style:%s;src:url(%s) format(\"woff\")%s}\n", fontFamily, weight, style, url, display)
}

// webTables are the tables a browser needs beside the outlines; hints are left
// out. The name table carries the typeface's licence.
var webTables = []string{"OS/2", "cmap", "head", "hhea", "hmtx", "maxp", "name", "post"}

// webFont returns a cut of the typeface as WOFF 1.0 with the outlines of the
// runes of text only. Glyphs keep their numbers; the others become empty.
//
// References: W3C, WOFF File Format 1.0, 2012; Microsoft, OpenType 1.9,
// tables glyf and loca.
func webFont(w Weight, text string) []byte {
	glyf, loca := keepGlyphs(tablesOf(fontData[w]), glyphsOf(w, text))
	dir := slices.Concat(fixedTables()[w], []webTable{pack("glyf", glyf), pack("loca", loca)})
	slices.SortFunc(dir, func(a, b webTable) int { return strings.Compare(a.tag, b.tag) })
	sfntSize := 12
	for _, t := range dir {
		sfntSize += 16 + (len(t.original)+3)&^3
	}
	const header, record = 44, 20
	var body bytes.Buffer
	out := make([]byte, header+record*len(dir))
	for i, e := range dir {
		at := out[header+record*i:]
		copy(at, e.tag)
		binary.BigEndian.PutUint32(at[4:], uint32(len(out)+body.Len()))
		binary.BigEndian.PutUint32(at[8:], uint32(len(e.packed)))
		binary.BigEndian.PutUint32(at[12:], uint32(len(e.original)))
		binary.BigEndian.PutUint32(at[16:], tableSum(e.original))
		body.Write(e.packed)
		for body.Len()%4 != 0 {
			body.WriteByte(0)
		}
	}
	copy(out, "wOFF")
	binary.BigEndian.PutUint32(out[4:], 0x00010000) // TrueType outlines
	binary.BigEndian.PutUint32(out[8:], uint32(len(out)+body.Len()))
	binary.BigEndian.PutUint16(out[12:], uint16(len(dir)))
	binary.BigEndian.PutUint32(out[16:], uint32(sfntSize))
	binary.BigEndian.PutUint16(out[20:], 1) // version of this file
	return append(out, body.Bytes()...)
}

// webTable is a table and its packed form, which is the table itself where
// packing gains nothing.
type webTable struct {
	tag              string
	packed, original []byte
}

func pack(tag string, t []byte) webTable {
	packed := deflate(t)
	if len(packed) >= len(t) {
		packed = t
	}
	return webTable{tag, packed, t}
}

// fixedTables are those that do not depend on the text, packed once.
var fixedTables = sync.OnceValue(func() (out [3][]webTable) {
	for w := range out {
		tables := tablesOf(fontData[w])
		head := slices.Clone(tables["head"])
		binary.BigEndian.PutUint16(head[50:], 1) // indexToLocFormat: 32 bits
		tables["head"] = head
		post := slices.Clone(tables["post"][:32])
		binary.BigEndian.PutUint32(post, 0x00030000) // no glyph names
		tables["post"] = post
		for _, tag := range webTables {
			if t, ok := tables[tag]; ok {
				out[w] = append(out[w], pack(tag, t))
			}
		}
	}
	return out
})

// tablesOf reads the table directory of a TrueType file.
func tablesOf(data []byte) map[string][]byte {
	out := map[string][]byte{}
	n := int(binary.BigEndian.Uint16(data[4:]))
	for i := range n {
		r := data[12+16*i:]
		offset, length := binary.BigEndian.Uint32(r[8:]), binary.BigEndian.Uint32(r[12:])
		out[string(r[:4])] = data[offset : offset+length]
	}
	return out
}

// glyphsOf returns the glyphs of the runes of text, and the missing-glyph
// box.
func glyphsOf(w Weight, text string) map[int]bool {
	f := faces()[w]
	f.mu.Lock()
	defer f.mu.Unlock()
	keep := map[int]bool{0: true}
	for _, r := range text + " \u00a0" {
		if g, err := f.font.GlyphIndex(&f.buf, r); err == nil {
			keep[int(g)] = true
		}
	}
	return keep
}

// keepGlyphs returns the glyf table with the outlines of keep and of the
// parts they are composed of, and its loca table in 32 bits.
func keepGlyphs(tables map[string][]byte, keep map[int]bool) (glyf, loca []byte) {
	old := tables["glyf"]
	long := binary.BigEndian.Uint16(tables["head"][50:]) == 1
	n := int(binary.BigEndian.Uint16(tables["maxp"][4:]))
	at := func(g int) uint32 {
		if long {
			return binary.BigEndian.Uint32(tables["loca"][4*g:])
		}
		return 2 * uint32(binary.BigEndian.Uint16(tables["loca"][2*g:]))
	}
	outline := func(g int) []byte { return old[at(g):at(g+1)] }
	var queue []int
	for g := range keep {
		queue = append(queue, g)
	}
	for len(queue) > 0 {
		g := queue[0]
		queue = queue[1:]
		for _, part := range partsOf(outline(g)) {
			if !keep[part] {
				keep[part] = true
				queue = append(queue, part)
			}
		}
	}
	for g := range n {
		loca = binary.BigEndian.AppendUint32(loca, uint32(len(glyf)))
		if keep[g] {
			glyf = append(glyf, outline(g)...)
			for len(glyf)%4 != 0 {
				glyf = append(glyf, 0)
			}
		}
	}
	return glyf, binary.BigEndian.AppendUint32(loca, uint32(len(glyf)))
}

// partsOf returns the glyphs that a composite glyph is made of.
func partsOf(outline []byte) []int {
	if len(outline) < 10 || int16(binary.BigEndian.Uint16(outline)) >= 0 {
		return nil
	}
	const (
		wideArgs  = 1 << 0
		scale     = 1 << 3
		more      = 1 << 5
		scaleXY   = 1 << 6
		matrix2x2 = 1 << 7
	)
	var out []int
	for p := outline[10:]; len(p) >= 4; {
		flags := binary.BigEndian.Uint16(p)
		out = append(out, int(binary.BigEndian.Uint16(p[2:])))
		size := 6
		if flags&wideArgs != 0 {
			size = 8
		}
		switch {
		case flags&scale != 0:
			size += 2
		case flags&scaleXY != 0:
			size += 4
		case flags&matrix2x2 != 0:
			size += 8
		}
		if flags&more == 0 || len(p) < size {
			return out
		}
		p = p[size:]
	}
	return out
}

func deflate(b []byte) []byte {
	var out bytes.Buffer
	w, _ := zlib.NewWriterLevel(&out, zlib.BestCompression)
	w.Write(b)
	w.Close()
	return out.Bytes()
}

// tableSum is the checksum of an OpenType table.
func tableSum(b []byte) uint32 {
	sum := uint32(0)
	for len(b) >= 4 {
		sum += binary.BigEndian.Uint32(b)
		b = b[4:]
	}
	var last [4]byte
	copy(last[:], b)
	return sum + binary.BigEndian.Uint32(last[:])
}
