package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"net/http"
	"path"
	"slices"
	"strings"
	"time"

	"trivet/figure"
)

//go:embed assets
var assetFiles embed.FS

//go:embed assets/kitchen.css
var kitchenCSS []byte

// assets are the style sheet, typeface and scripts, under names that carry a hash of
// their content, so that a browser may keep them for good.
type assets struct {
	paths map[string]string // plain name → path
	files map[string][]byte // served name → content
	// themes is what every style sheet begins with.
	themes []byte
}

func newAssets() (*assets, error) {
	a := &assets{paths: map[string]string{}, files: map[string][]byte{}}
	a.themes = themes(func(name string, woff []byte) string {
		a.add(name, woff)
		return a.path(name)
	})
	for _, name := range []string{"page.css", "ballot.js", "lead.js", "kitchen.js"} {
		b, err := assetFiles.ReadFile("assets/" + name)
		if err != nil {
			return nil, err
		}
		if name == "page.css" {
			b = slices.Concat(a.themes, b)
		}
		a.add(name, b)
	}
	return a, nil
}

// typed is every character the typeface is cut down to: ASCII and what
// sentences, figures and units use beside. Others fall back to the system.
const typed = " !\"#$%&'()*+,-./0123456789:;<=>?@ABCDEFGHIJKLMNOPQRSTUVWXYZ[\\]^_`abcdefghijklmnopqrstuvwxyz{|}~" +
	"\u00a0°±²³·×ÄÅÆÇÉÑÖØÜßàáâäåæçèéêëíîïñóôöøúûüγαβδσχ′–—‘’“”•…−√∞≤≥"

// themes are the typeface, the figures' colours for light, dark and paper,
// and the rules that colour figures: pages look as the report does. The
// typeface's files are put among the assets, since a browser would decode
// what stands in the sheet anew for every page.
func themes(put func(name string, woff []byte) string) []byte {
	var b bytes.Buffer
	b.WriteString(figure.FontFacesAt(typed, put))
	fmt.Fprintf(&b, ":root{%s}\n", figure.Light.Properties())
	fmt.Fprintf(&b, "@media (prefers-color-scheme:dark){:root{%s}}\n", figure.Dark.Properties())
	fmt.Fprintf(&b, "@media print{:root{%s}}\n", figure.Print.Properties())
	b.WriteString(figure.CSS())
	b.Write(kitchenCSS)
	return b.Bytes()
}

func (a *assets) add(name string, b []byte) {
	sum := sha256.Sum256(b)
	ext := path.Ext(name)
	served := strings.TrimSuffix(name, ext) + "-" + hex.EncodeToString(sum[:6]) + ext
	a.paths[name], a.files[served] = "/assets/"+served, b
}

func (a *assets) path(name string) string { return a.paths[name] }

func (a *assets) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	b, ok := a.files[name]
	if !ok {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	if path.Ext(name) == ".woff" {
		w.Header().Set("Content-Type", "font/woff")
	}
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(b))
}
