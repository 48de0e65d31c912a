package study

import (
	"strings"
	"testing"
)

func TestWritten(t *testing.T) {
	doc, err := ReadDocument("study.yaml", []byte(`study: Probes
instruments:
  - {id: T-1, ice: [0.10 °C, "32.4 °F"], checked: 2026-03-01, stem: {length: 1 1/2 in}}
  - id: scale   # the large one
    mass: 500 g
    note:
`))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		path, want string
		ok         bool
	}{
		{"study", "Probes", true},
		{"instruments[T-1].ice", "0.10 °C|32.4 °F", true},
		{"instruments[T-1].checked", "2026-03-01", true},
		{"instruments[T-1].stem.length", "1 1/2 in", true},
		{"instruments[T-1].stem.handle", "", true},
		{"instruments[T-1].boil", "", true},
		{"instruments[scale].note", "", true},
		{"instruments[2].mass", "500 g", true},
		{"instruments[T-1].stem", "", false},
		{"instruments", "", false},
		{"instruments[T-9].ice", "", false},
		{"study.what", "", false},
	} {
		got, ok := doc.Written(c.path)
		if s := strings.Join(got, "|"); s != c.want || ok != c.ok {
			t.Errorf("%s: %q, %v; want %q, %v", c.path, s, ok, c.want, c.ok)
		}
	}
}
