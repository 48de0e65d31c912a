package figure

import (
	"flag"
	"os"
	"path/filepath"
	"testing"
)

var galleryDir = flag.String("gallery", "", "write every example figure as PNG into this folder, to look at")

// TestGallery draws every example at every size and theme. It fails when a
// scene cannot be laid out; with -gallery it also writes pictures to look at.
func TestGallery(t *testing.T) {
	for _, ex := range examples() {
		for _, size := range []Size{Phone, Page, HD} {
			for _, theme := range []Theme{Light, Dark} {
				s, err := ex.fig.Scene(size, theme)
				if err != nil {
					t.Fatalf("%s at %s: %v", ex.name, size.Name, err)
				}
				if *galleryDir == "" || theme.Name == "dark" && size.Name != "phone" {
					continue
				}
				f, err := os.Create(filepath.Join(*galleryDir, ex.name+"-"+size.Name+"-"+theme.Name+".png"))
				if err != nil {
					t.Fatal(err)
				}
				if err := s.WritePNG(f, PNGOptions{Ratio: map[string]float64{"phone": 2, "page": 1.5, "1080p": 0.5}[size.Name]}); err != nil {
					t.Fatal(err)
				}
				f.Close()
			}
		}
	}
}
