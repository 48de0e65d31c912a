package photo

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"
	"time"

	"github.com/bep/imagemeta"

	"trivet/fault"
)

// scene is a picture whose four quarters tell how it is turned.
func scene(w, h int) *image.NRGBA {
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.NRGBA{200, 40, 40, 255} // top left red
			switch {
			case x >= w/2 && y < h/2:
				c = color.NRGBA{40, 200, 40, 255} // top right green
			case x < w/2 && y >= h/2:
				c = color.NRGBA{40, 40, 200, 255} // bottom left blue
			case x >= w/2:
				c = color.NRGBA{220, 220, 220, 255} // bottom right grey
			}
			img.SetNRGBA(x, y, c)
		}
	}
	return img
}

func asJPEG(t testing.TB, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func asPNG(t testing.TB, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// exif lays out the TIFF structure of an Exif block (CIPA DC-008-2019,
// "Exchangeable image file format for digital still cameras: Exif Version
// 2.32", section 4.6): orientation and camera in the first directory, the
// clock in the Exif directory, a place in the GPS directory.
func exif(orientation uint16, offset string) []byte {
	type entry struct {
		tag, kind uint16
		count     uint32
		value     []byte
	}
	text := func(tag uint16, s string) entry { return entry{tag, 2, uint32(len(s) + 1), append([]byte(s), 0)} }
	be := binary.BigEndian
	long := func(tag uint16, v uint32) entry { return entry{tag, 4, 1, be.AppendUint32(nil, v)} }
	third := func(tag uint16, a, b, c uint32) entry {
		var v []byte
		for _, n := range []uint32{a, 1, b, 1, c, 1} {
			v = be.AppendUint32(v, n)
		}
		return entry{tag, 5, 3, v}
	}
	out := []byte("MM\x00\x2a\x00\x00\x00\x08")
	dir := func(entries []entry) {
		at := uint32(len(out) + 2 + 12*len(entries) + 4)
		out = be.AppendUint16(out, uint16(len(entries)))
		var after []byte
		for _, e := range entries {
			out = be.AppendUint32(be.AppendUint16(be.AppendUint16(out, e.tag), e.kind), e.count)
			if len(e.value) <= 4 {
				out = append(out, append(e.value, 0, 0, 0, 0)[:4]...)
				continue
			}
			out = be.AppendUint32(out, at+uint32(len(after)))
			after = append(after, e.value...)
			if len(after)%2 == 1 {
				after = append(after, 0)
			}
		}
		out = append(be.AppendUint32(out, 0), after...)
	}
	first := []entry{text(0x010f, "Camera maker of GPS things"), {0x0112, 3, 1, be.AppendUint16(nil, orientation)}, long(0x8769, 0), long(0x8825, 0)}
	dir(first)
	exifAt := uint32(len(out))
	clock := []entry{text(0x9003, "2026:11:25 18:20:30")}
	if offset != "" {
		clock = append(clock, text(0x9011, offset))
	}
	dir(clock)
	gpsAt := uint32(len(out))
	dir([]entry{text(1, "N"), third(2, 51, 28, 38), text(3, "E"), third(4, 0, 0, 5)})
	be.PutUint32(out[8+2+2*12+8:], exifAt)
	be.PutUint32(out[8+2+3*12+8:], gpsAt)
	return out
}

const xmp = "http://ns.adobe.com/xap/1.0/\x00" + `<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description xmlns:exif="http://ns.adobe.com/exif/1.0/" exif:GPSLatitude="51,28.6N"/></rdf:RDF></x:xmpmeta>`

// iptc is an APP13 block with a city in it (IPTC-IIM 4.2, dataset 2:90).
const iptc = "Photoshop 3.0\x008BIM\x04\x04\x00\x00\x00\x00\x00\x0b\x1c\x02\x5a\x00\x06Nowhen\x00"

// carrying puts blocks behind the first marker of a JPEG.
func carrying(file []byte, blocks ...string) []byte {
	out := bytes.Clone(file[:2])
	for _, b := range blocks {
		out = append(out, 0xff, b[0])
		out = binary.BigEndian.AppendUint16(out, uint16(len(b)-1+2))
		out = append(out, b[1:]...)
	}
	return append(out, file[2:]...)
}

// placeIn is whether a general reader of such data finds a place in a file.
func placeIn(t *testing.T, file []byte, format imagemeta.ImageFormat) bool {
	t.Helper()
	var tags imagemeta.Tags
	if _, err := imagemeta.Decode(imagemeta.Options{R: bytes.NewReader(file), ImageFormat: format, Sources: imagemeta.EXIF, HandleTag: func(x imagemeta.TagInfo) error { tags.Add(x); return nil }}); err != nil {
		t.Fatal(err)
	}
	lat, _, err := tags.GetLatLong()
	return err == nil && lat != 0
}

// traces of what a camera writes beside the pixels.
var marks = []string{"GPS", "Exif", "http://ns.adobe.com/xap", "Photoshop", "8BIM", "Nowhen", "Camera", "2026:11:25", "tEXt", "iTXt", "zTXt", "eXIf", "a secret", "EXIF", "XMP "}

func keepsNone(t *testing.T, clean []byte) {
	t.Helper()
	for _, m := range marks {
		if bytes.Contains(clean, []byte(m)) {
			t.Errorf("the stored picture still holds %q", m)
		}
	}
}

func TestNothingOfACameraIsKept(t *testing.T) {
	block := exif(1, "+02:00")
	jpg := carrying(asJPEG(t, scene(64, 48)), "\xe1Exif\x00\x00"+string(block), "\xe1"+xmp, "\xed"+iptc, "\xfea secret of the camera")
	if !placeIn(t, jpg, imagemeta.JPEG) {
		t.Fatal("the file made for this test holds no place")
	}
	pic := withChunks(asPNG(t, scene(64, 48)), chunk("eXIf", block), chunk("tEXt", []byte("Comment\x00a secret")), chunk("iTXt", []byte("XML:com.adobe.xmp\x00\x00\x00\x00\x00"+xmp)), chunk("tIME", []byte{7, 234, 11, 25, 18, 20, 30}))
	if !placeIn(t, pic, imagemeta.PNG) {
		t.Fatal("the PNG made for this test holds no place")
	}
	web := asWebP(t, block)
	if !placeIn(t, exifOf(web), imagemeta.TIFF) {
		t.Fatal("the WebP made for this test holds no place")
	}
	for name, file := range map[string][]byte{"JPEG": jpg, "PNG": pic, "WebP": web} {
		t.Run(name, func(t *testing.T) {
			got, err := Clean(file)
			if err != nil {
				t.Fatal(err)
			}
			keepsNone(t, got.Bytes)
			if !got.Placed {
				t.Error("that the file held a place was not told")
			}
			if want := time.Date(2026, 11, 25, 16, 20, 30, 0, time.UTC); !got.Taken.Equal(want) || !got.Zoned {
				t.Errorf("taken %v, zoned %v; want %v", got.Taken, got.Zoned, want)
			}
			if name == "PNG" && got.Type != PNG || name != "PNG" && got.Type != JPEG {
				t.Errorf("a %s is kept as %s", name, got.Type)
			}
			small, err := Thumbnail(got.Bytes, 16)
			if err != nil {
				t.Fatal(err)
			}
			keepsNone(t, small)
		})
	}
}

// A clock that does not know its zone is not taken for UTC.
func TestAClockWithoutItsZoneSaysSo(t *testing.T) {
	got, err := Clean(carrying(asJPEG(t, scene(8, 8)), "\xe1Exif\x00\x00"+string(exif(1, ""))))
	if err != nil || got.Zoned || got.Taken.Format("15:04:05") != "18:20:30" {
		t.Errorf("%v, zoned %v, %v", got.Taken, got.Zoned, err)
	}
}

// The eight orientations, against what TIFF 6.0 says of the first row and the
// first column of the pixels: whichever way a camera was held, the scene
// stands upright.
func TestPicturesStandUpright(t *testing.T) {
	const w, h = 32, 24
	up := scene(w, h)
	for orientation, turned := range map[uint16]func(x, y int) (int, int){ // where the pixel of column x, row y shows the scene
		1: func(x, y int) (int, int) { return x, y },
		2: func(x, y int) (int, int) { return w - 1 - x, y },
		3: func(x, y int) (int, int) { return w - 1 - x, h - 1 - y },
		4: func(x, y int) (int, int) { return x, h - 1 - y },
		5: func(x, y int) (int, int) { return y, x },
		6: func(x, y int) (int, int) { return w - 1 - y, x },
		7: func(x, y int) (int, int) { return w - 1 - y, h - 1 - x },
		8: func(x, y int) (int, int) { return y, h - 1 - x },
	} {
		size := image.Rect(0, 0, w, h)
		if orientation >= 5 {
			size = image.Rect(0, 0, h, w)
		}
		stored := image.NewNRGBA(size)
		for y := range size.Dy() {
			for x := range size.Dx() {
				stored.Set(x, y, up.At(turned(x, y)))
			}
		}
		got, err := Clean(withChunks(asPNG(t, stored), chunk("eXIf", exif(orientation, ""))))
		if err != nil {
			t.Fatal(err)
		}
		img, err := png.Decode(bytes.NewReader(got.Bytes))
		if err != nil {
			t.Fatal(err)
		}
		if got.WidthPx != w || got.HeightPx != h {
			t.Fatalf("orientation %d: %d × %d", orientation, got.WidthPx, got.HeightPx)
		}
		for y := range h {
			for x := range w {
				if r1, g1, b1, _ := img.At(x, y).RGBA(); !same(up.At(x, y), r1, g1, b1) {
					t.Fatalf("orientation %d: the pixel at %d, %d is another", orientation, x, y)
				}
			}
		}
	}
}

func same(c color.Color, r, g, b uint32) bool {
	r2, g2, b2, _ := c.RGBA()
	return r == r2 && g == g2 && b == b2
}

func TestALargePictureIsMadeSmaller(t *testing.T) {
	got, err := Clean(asJPEG(t, scene(4000, 1000)))
	if err != nil || got.WidthPx != LongSide || got.HeightPx != LongSide/4 {
		t.Errorf("%+v %v", got, err)
	}
	c, err := jpeg.DecodeConfig(bytes.NewReader(got.Bytes))
	if err != nil || c.Width != LongSide {
		t.Errorf("%+v %v", c, err)
	}
	small, err := Thumbnail(got.Bytes, 480)
	if c, err2 := jpeg.DecodeConfig(bytes.NewReader(small)); err != nil || err2 != nil || c.Width != 480 || c.Height != 120 {
		t.Errorf("thumbnail %+v %v %v", c, err, err2)
	}
}

// What lies behind a clear picture is kept clear, not turned black.
func TestAClearPictureStaysClear(t *testing.T) {
	img := scene(16, 16)
	img.SetNRGBA(3, 3, color.NRGBA{9, 9, 9, 0})
	got, err := Clean(asPNG(t, img))
	if err != nil || got.Type != PNG {
		t.Fatal(got, err)
	}
	back, err := png.Decode(bytes.NewReader(got.Bytes))
	if err != nil {
		t.Fatal(err)
	}
	if _, _, _, a := back.At(3, 3).RGBA(); a != 0 {
		t.Errorf("a clear pixel has alpha %d", a)
	}
}

func TestWhatIsRefused(t *testing.T) {
	good := asJPEG(t, scene(64, 64))
	// A PNG header that claims 60,000 × 60,000 pixels, 57 bytes in all.
	bomb := withSize(asPNG(t, scene(1, 1)), 60_000, 60_000)
	for name, c := range map[string]struct {
		file []byte
		code fault.Code
		says string
	}{
		"nothing":              {nil, "photo-kind", "JPEG, PNG or WebP"},
		"a text":               {[]byte("core;61.2;63.4"), "photo-kind", "JPEG, PNG or WebP"},
		"a GIF":                {[]byte("GIF89a\x01\x00\x01\x00\x00\x00\x00;"), "photo-kind", "JPEG, PNG or WebP"},
		"a HEIF photo":         {[]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00"), "photo-kind", "HEIF"},
		"half a JPEG":          {good[:len(good)/2], "photo-broken", "to its end"},
		"a JPEG's head":        {good[:3], "photo-broken", "to its end"},
		"a PNG that is a bomb": {bomb, "photo-large", "60000 × 60000 pixels"},
		"too many bytes":       {append(bytes.Clone(good), make([]byte, MaxBytes)...), "photo-large", "25 MB"},
		"a page called JPEG":   {[]byte("<svg onload=alert(1)>"), "photo-kind", "JPEG, PNG or WebP"},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := Clean(c.file)
			f := fault.As(err)
			if got != nil || f == nil || f.Code != c.code || !strings.Contains(f.Message, c.says) || f.Fix == "" {
				t.Errorf("got %+v, %v", got, err)
			}
		})
	}
}

func FuzzClean(f *testing.F) {
	f.Add(carrying(asJPEG(f, scene(8, 8)), "\xe1Exif\x00\x00"+string(exif(6, "+01:00"))))
	f.Add(withChunks(asPNG(f, scene(8, 8)), chunk("eXIf", exif(3, ""))))
	f.Add(asWebP(f, exif(1, "")))
	f.Fuzz(func(t *testing.T, file []byte) {
		if c, _, err := image.DecodeConfig(bytes.NewReader(file)); err == nil && c.Width*c.Height > 1<<20 {
			return // a fuzzer has no patience for large pictures
		}
		got, err := Clean(file)
		if (got == nil) == (err == nil) {
			t.Fatal(got, err)
		}
		if err != nil {
			if fault.As(err) == nil {
				t.Fatal(err)
			}
			return
		}
		if _, err := Clean(got.Bytes); err != nil {
			t.Fatal("what was cleaned cannot be read:", err)
		}
	})
}

func BenchmarkClean12Megapixels(b *testing.B) {
	file := asJPEG(b, scene(4032, 3024))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Clean(file); err != nil {
			b.Fatal(err)
		}
	}
}

func chunk(kind string, data []byte) []byte {
	out := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	out = append(append(out, kind...), data...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[4:]))
}

const afterHead = 8 + 25 // signature and IHDR

func withChunks(file []byte, chunks ...[]byte) []byte {
	out := bytes.Clone(file[:afterHead])
	for _, c := range chunks {
		out = append(out, c...)
	}
	return append(out, file[afterHead:]...)
}

func withSize(file []byte, w, h uint32) []byte {
	head := bytes.Clone(file[8+8 : 8+8+13])
	binary.BigEndian.PutUint32(head, w)
	binary.BigEndian.PutUint32(head[4:], h)
	return append(append(bytes.Clone(file[:8]), chunk("IHDR", head)...), file[afterHead:]...)
}

// asWebP is one lossless pixel in an extended container with an Exif block
// (RFC 9649, "WebP Image Format", sections 2.7 and 3): written out by hand.
func asWebP(t testing.TB, block []byte) []byte {
	t.Helper()
	simple, err := base64.StdEncoding.DecodeString("UklGRh4AAABXRUJQVlA4TBEAAAAvAAAAAAfQ//73v/+BiOh/AAA=")
	if err != nil {
		t.Fatal(err)
	}
	part := func(kind string, data []byte) []byte {
		out := binary.LittleEndian.AppendUint32([]byte(kind), uint32(len(data)))
		out = append(out, data...)
		if len(data)%2 == 1 {
			out = append(out, 0)
		}
		return out
	}
	body := append([]byte("WEBP"), part("VP8X", []byte{0x08, 0, 0, 0, 0, 0, 0, 0, 0, 0})...)
	body = append(body, simple[12:]...)
	body = append(body, part("EXIF", block)...)
	return append(binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body))), body...)
}

// What Clean keeps is bare; what a camera or an editor writes is found.
func TestWhetherAPictureIsBare(t *testing.T) {
	block := exif(1, "")
	jpg, pic := asJPEG(t, scene(64, 48)), asPNG(t, scene(64, 48))
	for name, file := range map[string][]byte{"JPEG": carrying(jpg, "\xe1Exif\x00\x00"+string(block)), "PNG": withChunks(pic, chunk("eXIf", block)), "WebP": asWebP(t, block)} {
		clean, err := Clean(file)
		if err != nil {
			t.Fatal(err)
		}
		small, err := Thumbnail(clean.Bytes, 16)
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range [][]byte{clean.Bytes, small} {
			if err := Bare(b); err != nil {
				t.Errorf("%s, cleaned: %v", name, err)
			}
		}
	}
	for name, c := range map[string]struct {
		file []byte
		says string
	}{
		"Exif in a JPEG":       {carrying(jpg, "\xe1Exif\x00\x00"+string(block)), "Exif or XMP"},
		"XMP in a JPEG":        {carrying(jpg, "\xe1"+xmp), "Exif or XMP"},
		"IPTC in a JPEG":       {carrying(jpg, "\xed"+iptc), "application data"},
		"a comment in a JPEG":  {carrying(jpg, "\xfeby the river"), "a comment"},
		"data behind a JPEG":   {append(bytes.Clone(jpg), "51 N"...), "behind its end"},
		"half a JPEG":          {jpg[:len(jpg)/2], "cut or damaged"},
		"a JPEG of two bytes":  {jpg[:2], "cut or damaged"},
		"Exif in a PNG":        {withChunks(pic, chunk("eXIf", block)), "a chunk eXIf"},
		"text in a PNG":        {withChunks(pic, chunk("tEXt", []byte("Comment\x00a secret"))), "a chunk tEXt"},
		"data behind a PNG":    {append(bytes.Clone(pic), "51 N"...), "behind its end"},
		"half a PNG":           {pic[:len(pic)/2], "cut or damaged"},
		"a WebP":               {asWebP(t, block), "neither JPEG nor PNG"},
		"nothing":              {nil, "neither JPEG nor PNG"},
		"a chunk without end":  {append(bytes.Clone(pic[:8]), 0xff, 0xff, 0xff, 0xff, 'I', 'D', 'A', 'T', 0, 0, 0, 0), "cut or damaged"},
		"a segment of nothing": {[]byte{0xff, 0xd8, 0xff, 0xdb, 0, 0, 0xff, 0xd9}, "cut or damaged"},
	} {
		if err := Bare(c.file); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", name, err, c.says)
		}
	}
}

func FuzzBare(f *testing.F) {
	f.Add([]byte("\xff\xd8\xff\xdb\x00\x00\xff\xd9"))
	f.Add([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x00IEND\x00\x00\x00\x00"))
	f.Fuzz(func(_ *testing.T, b []byte) { Bare(b) })
}
