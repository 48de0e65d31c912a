package photo

import (
	"bytes"
	"encoding/binary"

	"trivet/fault"
)

// Bare makes sure that a picture holds nothing beside its pixels, as those of
// [Clean] do: no Exif, XMP, comments, colour profiles, times or anything
// behind its end. A picture that came from elsewhere may say where and by whom
// it was taken. Error: "photo-not-bare", with what was found.
// Segments: ITU-T T.81 (1992), annex B; chunks: PNG (Third Edition), W3C 2025.
func Bare(picture []byte) error {
	var found string
	switch {
	case bytes.HasPrefix(picture, []byte{0xff, 0xd8}):
		found = besideJPEG(picture)
	case bytes.HasPrefix(picture, []byte("\x89PNG\r\n\x1a\n")):
		found = besidePNG(picture)
	default:
		found = "it is neither JPEG nor PNG"
	}
	if found == "" {
		return nil
	}
	return fault.New("photo-not-bare", "a photo holds more than its pixels, and may tell where it was taken: %s", found).
		WithFix("take the photo out of the package, and add it on the cook's page, which keeps the pixels alone")
}

func besideJPEG(b []byte) string {
	for i := 2; ; {
		if i+4 > len(b) || b[i] != 0xff {
			return "it is cut or damaged"
		}
		marker := b[i+1]
		n := 2 + int(binary.BigEndian.Uint16(b[i+2:]))
		if i+n > len(b) {
			return "it is cut or damaged"
		}
		switch marker {
		case 0xc0, 0xc1, 0xc2, 0xc4, 0xdb, 0xdd: // frames, tables
		case 0xe0:
			if n != 18 || !bytes.HasPrefix(b[i+4:], []byte("JFIF\x00")) { // without a small picture
				return "application data"
			}
		case 0xe1:
			return "Exif or XMP"
		case 0xfe:
			return "a comment"
		case 0xda:
			for n += i; ; n++ { // through the scan, to the next marker
				if n+1 >= len(b) {
					return "it is cut or damaged"
				}
				if b[n] == 0xff && b[n+1] != 0 && b[n+1]&0xf8 != 0xd0 {
					break
				}
			}
			if b[n+1] == 0xd9 {
				if n+2 != len(b) {
					return "data behind its end"
				}
				return ""
			}
			i = n
			continue
		default:
			return "application data"
		}
		i += n
	}
}

func besidePNG(b []byte) string {
	for i := 8; ; {
		if i+12 > len(b) {
			return "it is cut or damaged"
		}
		n := int(binary.BigEndian.Uint32(b[i:]))
		if n < 0 || n > len(b)-i-12 {
			return "it is cut or damaged"
		}
		switch kind := string(b[i+4 : i+8]); kind {
		case "IHDR", "PLTE", "tRNS", "IDAT":
		case "IEND":
			if i+12+n != len(b) {
				return "data behind its end"
			}
			return ""
		default:
			return "a chunk " + kind
		}
		i += n + 12
	}
}
