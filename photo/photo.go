// Package photo takes a picture from a camera and keeps the picture alone:
// turned upright, no larger than a page can use, and without place, owner,
// camera or anything else that was written beside the pixels.
//
// Call [Clean] on the bytes of a file. What it returns is drawn anew from the
// pixels, so that nothing of the file but the pixels can be in it.
package photo

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"time"

	"github.com/bep/imagemeta"
	"golang.org/x/image/draw"
	"golang.org/x/image/webp"

	"trivet/fault"
)

// Limits of a file and of what is made of it.
const (
	MaxBytes = 25 << 20 // of a file
	// MaxDecoded bounds the memory a picture unpacks to, in bytes. It is looked
	// at before any pixel is read: a small file can claim to be huge.
	MaxDecoded = 200_000_000
	// LongSide is the longest side that is kept, in pixels.
	LongSide = 3000
	// maxPNG is the most bytes a picture without transparency may take as PNG
	// before it is kept as JPEG.
	maxPNG = 3 << 20
)

// Kinds of file that are read and kept.
const (
	JPEG = "image/jpeg"
	PNG  = "image/png"
	WebP = "image/webp"
)

// Photo is a picture without anything beside it.
type Photo struct {
	Bytes             []byte
	Type              string // JPEG or PNG
	WidthPx, HeightPx int    // upright
	// Taken is what the camera's clock showed; zero when the file did not say.
	// Zoned tells whether it knew its offset from UTC; without, Taken is the
	// clock's reading written as if it were UTC.
	Taken time.Time
	Zoned bool
	// Placed tells whether the file said where it was taken. It is not kept;
	// whoever sent it may like to know.
	Placed bool
}

// Clean reads a JPEG, PNG or WebP file. Errors: "photo-large" for a file or a
// picture beyond the limits, "photo-kind" for another kind of file,
// "photo-broken" for one that cannot be read to its end.
func Clean(file []byte) (*Photo, error) {
	kind, err := kindOf(file)
	if err != nil {
		return nil, err
	}
	if err := fits(file, kind); err != nil {
		return nil, err
	}
	pixels, err := decode(file, kind)
	if err != nil {
		return nil, broken().Wrap(err)
	}
	said := sidecar(file, kind)
	img := upright(shrunk(pixels, LongSide), said.orientation)
	out := &Photo{WidthPx: img.Bounds().Dx(), HeightPx: img.Bounds().Dy(), Taken: said.taken, Zoned: said.zoned, Placed: said.placed}
	out.Bytes, out.Type, err = encode(img, kind)
	if err != nil {
		return nil, broken().Wrap(err)
	}
	return out, nil
}

// Thumbnail makes a small JPEG of a picture that [Clean] made.
func Thumbnail(clean []byte, longSide int) ([]byte, error) {
	kind, err := kindOf(clean)
	if err != nil {
		return nil, err
	}
	if err := fits(clean, kind); err != nil {
		return nil, err
	}
	img, err := decode(clean, kind)
	if err != nil {
		return nil, broken().Wrap(err)
	}
	return jpegOf(onWhite(shrunk(img, longSide)), 80)
}

func broken() *fault.Error {
	return fault.New("photo-broken", "the picture cannot be read to its end").WithFix("send it again; if that fails too, open it and save it as JPEG")
}

// kindOf tells a file's kind from its first bytes, whatever its name says.
func kindOf(file []byte) (string, error) {
	switch {
	case len(file) > MaxBytes:
		return "", fault.New("photo-large", "the file has %d MB, and a photo may have %d MB", len(file)>>20, MaxBytes>>20).
			WithFix("save it smaller, or choose a smaller size in the camera")
	case bytes.HasPrefix(file, []byte("\xff\xd8\xff")):
		return JPEG, nil
	case bytes.HasPrefix(file, []byte("\x89PNG\r\n\x1a\n")):
		return PNG, nil
	case len(file) >= 12 && string(file[:4]) == "RIFF" && string(file[8:12]) == "WEBP":
		return WebP, nil
	case len(file) >= 12 && string(file[4:8]) == "ftyp":
		return "", fault.New("photo-kind", "this is a HEIF or AVIF picture or a film, which is not read here").
			WithFix("have the camera save JPEG, or open the picture and save it as JPEG")
	}
	return "", fault.New("photo-kind", "this file is no JPEG, PNG or WebP picture").WithFix("choose a photo, or save it as JPEG first")
}

// fits looks at what a picture claims to unpack to.
func fits(file []byte, kind string) error {
	var c image.Config
	var err error
	switch r := bytes.NewReader(file); kind {
	case JPEG:
		c, err = jpeg.DecodeConfig(r)
	case PNG:
		c, err = png.DecodeConfig(r)
	default:
		c, err = webp.DecodeConfig(r)
	}
	if err != nil || c.Width < 1 || c.Height < 1 {
		return broken().Wrap(err)
	}
	// Each side of these formats fits 31 bits and so their product 62; times
	// 8 could leave int64, so the bound is divided instead.
	if int64(c.Width)*int64(c.Height) > MaxDecoded/bytesPerPixel(c.ColorModel) {
		return fault.New("photo-large", "the picture has %d × %d pixels, too many to unpack here", c.Width, c.Height).
			WithFix("choose a smaller size in the camera, or save it smaller")
	}
	return nil
}

func bytesPerPixel(m color.Model) int64 {
	switch m {
	case color.GrayModel, color.AlphaModel:
		return 1
	case color.Gray16Model, color.Alpha16Model:
		return 2
	case color.YCbCrModel:
		return 3 // without subsampling
	case color.RGBA64Model, color.NRGBA64Model:
		return 8
	}
	if _, indexed := m.(color.Palette); indexed {
		return 1
	}
	return 4
}

func decode(file []byte, kind string) (image.Image, error) {
	switch r := bytes.NewReader(file); kind {
	case JPEG:
		return jpeg.Decode(r)
	case PNG:
		return png.Decode(r)
	default:
		return webp.Decode(r)
	}
}

// shrunk draws a picture no longer than longSide. It is halved first, as often
// as that leaves enough, each pixel the mean of four, so that nothing is
// skipped over; a smooth kernel would need 24 times the memory of the result.
func shrunk(img image.Image, longSide int) *image.RGBA {
	long := max(img.Bounds().Dx(), img.Bounds().Dy())
	for ; long >= 2*longSide; long = max(img.Bounds().Dx(), img.Bounds().Dy()) {
		img = scaled(img, (long+1)/2)
	}
	return scaled(img, min(long, longSide))
}

// scaled draws a picture whose longer side is long.
func scaled(img image.Image, long int) *image.RGBA {
	b := img.Bounds()
	was := max(b.Dx(), b.Dy())
	out := image.NewRGBA(image.Rect(0, 0, max(1, (b.Dx()*long+was/2)/was), max(1, (b.Dy()*long+was/2)/was)))
	if out.Bounds().Size() == b.Size() {
		draw.Draw(out, out.Bounds(), img, b.Min, draw.Src)
	} else {
		draw.ApproxBiLinear.Scale(out, out.Bounds(), img, b, draw.Src, nil)
	}
	return out
}

// upright turns a picture as its file says, by the eight orientations of
// TIFF (Adobe, TIFF Revision 6.0, 1992, section 8, tag 274 "Orientation"):
// which corner of the scene the first row and column of the pixels show.
func upright(img *image.RGBA, orientation int) *image.RGBA {
	if orientation < 2 || orientation > 8 {
		return img
	}
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	if orientation >= 5 { // rows become columns
		out = image.NewRGBA(image.Rect(0, 0, h, w))
	}
	for y := range h {
		for x := range w {
			var tx, ty int
			switch orientation {
			case 2: // first row top, first column right
				tx, ty = w-1-x, y
			case 3: // bottom, right
				tx, ty = w-1-x, h-1-y
			case 4: // bottom, left
				tx, ty = x, h-1-y
			case 5: // first row left, first column top
				tx, ty = y, x
			case 6: // right, top
				tx, ty = h-1-y, x
			case 7: // right, bottom
				tx, ty = h-1-y, w-1-x
			case 8: // left, bottom
				tx, ty = y, w-1-x
			}
			copy(out.Pix[out.PixOffset(tx, ty):][:4], img.Pix[img.PixOffset(x, y):][:4])
		}
	}
	return out
}

// onWhite lays a picture on white paper.
func onWhite(img *image.RGBA) *image.RGBA {
	out := image.NewRGBA(img.Bounds())
	draw.Draw(out, out.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(out, out.Bounds(), img, image.Point{}, draw.Over)
	return out
}

func jpegOf(img image.Image, quality int) ([]byte, error) {
	var b bytes.Buffer
	err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality})
	return b.Bytes(), err
}

// encode writes what came without loss without loss, unless it is a
// photograph in a drawing's clothes.
func encode(img *image.RGBA, kind string) ([]byte, string, error) {
	if kind == PNG || !img.Opaque() {
		var b bytes.Buffer
		if err := png.Encode(&b, img); err != nil {
			return nil, "", err
		}
		if b.Len() <= maxPNG || !img.Opaque() {
			return b.Bytes(), PNG, nil
		}
	}
	b, err := jpegOf(onWhite(img), 88)
	return b, JPEG, err
}

// beside is what a file says beside its pixels, as far as it is of use.
type beside struct {
	orientation int
	taken       time.Time
	zoned       bool
	placed      bool
}

// maxTags bounds how much of that is read.
const maxTags = 2000

// sidecar reads it. What cannot be read is as good as not there: it is left
// behind either way.
func sidecar(file []byte, kind string) beside {
	format := map[string]imagemeta.ImageFormat{JPEG: imagemeta.JPEG, PNG: imagemeta.PNG, WebP: imagemeta.TIFF}[kind]
	if kind == WebP {
		file = exifOf(file)
	}
	var said beside
	var clock, offset string
	_, err := imagemeta.Decode(imagemeta.Options{
		R: bytes.NewReader(file), ImageFormat: format, Sources: imagemeta.EXIF | imagemeta.XMP | imagemeta.IPTC,
		LimitNumTags: maxTags,
		HandleXMP: func(r io.Reader) error { // its place is in the text; nothing else of it is used
			b, err := io.ReadAll(io.LimitReader(r, 1<<20))
			said.placed = said.placed || bytes.Contains(b, []byte("GPSLatitude"))
			return err
		},
		HandleTag: func(tag imagemeta.TagInfo) error {
			switch tag.Tag {
			case "Orientation":
				said.orientation = small(tag.Value)
			case "DateTimeOriginal":
				clock, _ = tag.Value.(string)
			case "DateTimeDigitized", "CreateDate":
				if text, ok := tag.Value.(string); ok && clock == "" {
					clock = text
				}
			case "OffsetTimeOriginal", "OffsetTime":
				if text, ok := tag.Value.(string); ok && (offset == "" || tag.Tag == "OffsetTimeOriginal") {
					offset = text
				}
			case "GPSLatitude":
				said.placed = true
			}
			return nil
		},
	})
	_ = err // a broken part of it hides what follows, no more
	const layout = "2006:01:02 15:04:05"
	if t, err := time.Parse(layout+"-07:00", clock+offset); err == nil {
		said.taken, said.zoned = t, true
	} else if t, err := time.Parse(layout, clock); err == nil {
		said.taken = t
	}
	if said.taken.Year() < 1990 { // a clock that was never set
		said.taken, said.zoned = time.Time{}, false
	}
	return said
}

// exifOf is the Exif block of a WebP file, itself a TIFF file (RFC 9649,
// section 2.7.1.5), nil where there is none. The library's own reader of
// these files takes no account of the byte that pads a chunk of odd length
// (version 1.0.1), behind which most cameras write theirs.
func exifOf(file []byte) []byte {
	const head = 8 // name and length of a chunk
	for rest := file[12:]; len(rest) >= head; {
		n := uint64(binary.LittleEndian.Uint32(rest[4:]))
		if n > uint64(len(rest)-head) {
			return nil
		}
		if string(rest[:4]) == "EXIF" {
			return bytes.TrimPrefix(rest[head:head+n], []byte("Exif\x00\x00")) // some writers keep JPEG's prefix
		}
		rest = rest[min(head+n+n%2, uint64(len(rest))):]
	}
	return nil
}

func small(v any) int {
	var n int
	if _, err := fmt.Sscan(fmt.Sprint(v), &n); err != nil {
		return 0
	}
	return n
}
