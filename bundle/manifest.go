package bundle

import (
	"maps"
	"slices"
	"strings"

	"trivet/fault"
)

// manifestPath lists the SHA-256 of every other file of a package, a line
// "hash  path" each, sorted by path: the form of a manifest of BagIt
// (RFC 8493 §2.1.3), which "sha256sum -c" reads as well.
const manifestPath = "manifest-sha256.txt"

func manifest(sums map[string]string) []byte {
	var b strings.Builder
	for _, path := range slices.Sorted(maps.Keys(sums)) {
		b.WriteString(sums[path] + "  " + path + "\n")
	}
	return []byte(b.String())
}

// parseManifest reads the checksums by path.
func parseManifest(b []byte) (map[string]string, error) {
	sums := map[string]string{}
	line := 0
	for text := range strings.Lines(string(b)) {
		line++
		text = strings.TrimRight(text, "\r\n")
		if text == "" {
			continue
		}
		sum, path, _ := strings.Cut(text, " ")
		path = strings.TrimLeft(path, " *") // "*" marks binary mode
		bad := func(says string) error {
			return fault.New("package-manifest", "%s", says).In(manifestPath).At(line, 0).On("line", text).
				WithFix(`each line is a SHA-256 in hex, two spaces and a path below the folder`)
		}
		switch {
		case len(sum) != 64 || strings.Trim(sum, "0123456789abcdefABCDEF") != "":
			return nil, bad("this line has no SHA-256")
		case !isSafePath(path):
			return nil, bad("this path leads out of the package")
		case sums[path] != "":
			return nil, bad("this path is listed twice")
		}
		sums[path] = strings.ToLower(sum)
	}
	return sums, nil
}
