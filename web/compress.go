package web

import (
	"net/http"
	"strings"

	"github.com/klauspost/compress/gzhttp"
	"github.com/klauspost/compress/gzip"
)

// Packing an answer tells its length, and who can make a browser ask for
// pages that hold both a secret and a text of their choosing can find out the
// secret by it (the BREACH attack: Gluck, Harris & Prado 2013). So only pages
// without a secret are packed: those of the desk and of studies, which carry
// no token of any kind (forms are guarded by the request's origin, sessions
// by cookies that no other site's request brings), scripts and styles. What
// shows a link or a key (hand-outs, the tasting room, ballots) and whatever
// answers a POST is sent as it is.

// packed compresses the answers that may be.
func packed(next http.Handler) http.Handler {
	wrap, err := gzhttp.NewWrapper(gzhttp.MinSize(1400), gzhttp.CompressionLevel(gzip.BestSpeed), gzhttp.EnableZstd(false), gzhttp.ContentTypes([]string{
		"text/html", "text/css", "text/javascript", "text/csv", "application/json", "image/svg+xml", "application/javascript"}))
	if err != nil {
		panic(err) // the options above are valid
	}
	smaller := wrap(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodGet && mayPack(r.URL.Path) {
			smaller.ServeHTTP(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// mayPack tells whether nothing under a path shows a secret.
func mayPack(path string) bool {
	if path == "/" || path == "/trash" {
		return true
	}
	return (strings.HasPrefix(path, "/studies/") || strings.HasPrefix(path, "/ui/") || strings.HasPrefix(path, "/assets/")) &&
		!strings.HasSuffix(path, "/links")
}

// acceptsGzip tells whether a browser takes gzip.
func acceptsGzip(r *http.Request) bool {
	for e := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		name, q, _ := strings.Cut(strings.TrimSpace(e), ";")
		if strings.EqualFold(strings.TrimSpace(name), "gzip") && strings.ReplaceAll(q, " ", "") != "q=0" {
			return true
		}
	}
	return false
}
