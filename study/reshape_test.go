package study

import (
	"bytes"
	"errors"
	"testing"

	"trivet/fault"
)

const shaped = `# What this file is.
piece: {shape: slab, thickness: 30 mm, start: 5 °C}
altitude: 300 m # above the sea
legs:
  # First the pan.
  - name: pan
    bottom: {pan: 205 °C, contact: 350}
    turn: {at: [3 min, 4 min]}
    ends_when: {core: 52 °C, time: 9 min}

  # Then rest.
  - name: rest
    rest: true
    ends_when:
      time: 8 min
`

func TestReshapingADocument(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(*Document) error
		want string // "" where the edit is refused with code
		code fault.Code
	}{
		{"a key of a group in braces", func(d *Document) error { return d.Remove("legs[1].ends_when.core") },
			swap(shaped, "{core: 52 °C, time: 9 min}", "{time: 9 min}"), ""},
		{"its last key", func(d *Document) error { return d.Remove("legs[1].ends_when.time") },
			swap(shaped, "{core: 52 °C, time: 9 min}", "{core: 52 °C}"), ""},
		{"a list's entry in brackets", func(d *Document) error { return d.Remove("legs[1].turn.at[1]") },
			swap(shaped, "[3 min, 4 min]", "[4 min]"), ""},
		{"a line", func(d *Document) error { return d.Remove("legs[1].turn") },
			swap(shaped, "    turn: {at: [3 min, 4 min]}\n", ""), ""},
		{"a line with its comment", func(d *Document) error { return d.Remove("altitude") },
			swap(shaped, "altitude: 300 m # above the sea\n", ""), ""},
		{"the line of the dash", func(d *Document) error { return d.Remove("legs[2].name") },
			swap(shaped, "- name: rest\n    rest: true", "- rest: true"), ""},
		{"the first entry, with the comment above it", func(d *Document) error { return d.Remove("legs[1]") },
			swap(shaped, "  # First the pan.\n  - name: pan\n    bottom: {pan: 205 °C, contact: 350}\n    turn: {at: [3 min, 4 min]}\n    ends_when: {core: 52 °C, time: 9 min}\n\n", ""), ""},
		{"the last entry, with the comment above it", func(d *Document) error { return d.Remove("legs[2]") },
			swap(shaped, "\n\n  # Then rest.\n  - name: rest\n    rest: true\n    ends_when:\n      time: 8 min\n", "\n"), ""},
		{"the first key of a file leaves the file's comment", func(d *Document) error { return d.Remove("piece") },
			swap(shaped, "piece: {shape: slab, thickness: 30 mm, start: 5 °C}\n", ""), ""},
		{"entries change places with their comments", func(d *Document) error { return d.MoveUp("legs[2]") },
			`# What this file is.
piece: {shape: slab, thickness: 30 mm, start: 5 °C}
altitude: 300 m # above the sea
legs:
  # Then rest.
  - name: rest
    rest: true
    ends_when:
      time: 8 min

  # First the pan.
  - name: pan
    bottom: {pan: 205 °C, contact: 350}
    turn: {at: [3 min, 4 min]}
    ends_when: {core: 52 °C, time: 9 min}
`, ""},
		{"numbers change places", func(d *Document) error { return d.MoveUp("legs[1].turn.at[2]") },
			swap(shaped, "[3 min, 4 min]", "[4 min, 3 min]"), ""},
		{"the last key of a group", func(d *Document) error { return d.Remove("legs[2].ends_when.time") }, "", "edit-last"},
		{"what is not there", func(d *Document) error { return d.Remove("legs[3]") }, "", "edit-path"},
		{"a key of what is not there", func(d *Document) error { return d.Remove("legs[1].also.top") }, "", "edit-path"},
		{"the first entry upwards", func(d *Document) error { return d.MoveUp("legs[1]") }, "", "edit-path"},
		{"a key upwards", func(d *Document) error { return d.MoveUp("altitude") }, "", "edit-path"},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, nl := range []string{"\n", "\r\n"} {
				src := bytes.ReplaceAll([]byte(shaped), []byte("\n"), []byte(nl))
				d, err := ReadDocument("cook.yaml", src)
				if err != nil {
					t.Fatal(err)
				}
				err = c.do(d)
				if c.code != "" {
					var f *fault.Error
					if !errors.As(err, &f) || f.Code != c.code || !bytes.Equal(d.Bytes(), src) {
						t.Errorf("%v, want %s and nothing changed", err, c.code)
					}
					continue
				}
				if err != nil {
					t.Fatal(err)
				}
				if got := string(bytes.ReplaceAll(d.Bytes(), []byte("\r\n"), []byte("\n"))); got != c.want {
					t.Errorf("it reads\n%s\nwant\n%s", got, c.want)
				}
			}
		})
	}
}

func swap(s, old, new string) string {
	if !bytes.Contains([]byte(s), []byte(old)) {
		panic("there is no " + old)
	}
	return string(bytes.Replace([]byte(s), []byte(old), []byte(new), 1))
}

// FuzzReshape takes anything out of any document: what comes back is either
// refused and unchanged, or can be read.
func FuzzReshape(f *testing.F) {
	_, bad := badDocuments(f, "testdata/bad.txt")
	for _, c := range bad {
		f.Add([]byte(c.document), "claim.says", false)
	}
	f.Add([]byte(shaped), "legs[2]", true)
	f.Add([]byte("- a\n-\n-\n"), "[2]", true)
	f.Add([]byte("a: {b: [x, {c: 1, d: 2}], e: 3}\n"), "a.b[2].c", false)
	f.Fuzz(func(t *testing.T, b []byte, path string, up bool) {
		d, err := ReadDocument("d.yaml", b)
		if err != nil {
			return
		}
		if up {
			err = d.MoveUp(path)
		} else {
			err = d.Remove(path)
		}
		if err != nil && !bytes.Equal(d.Bytes(), b) {
			t.Fatal("a refused edit changed the document")
		}
		if _, err := parseTree("d.yaml", d.Bytes()); err != nil {
			t.Fatalf("it cannot be read any more: %v", err)
		}
	})
}
