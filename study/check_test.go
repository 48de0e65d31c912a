package study

import (
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestCheckSaysWhatIsDoubtful holds one study a case, sound but for what the
// case is about, and every finding it gives. A line "@file NAME" in a case
// begins a cook file.
func TestCheckSaysWhatIsDoubtful(t *testing.T) {
	const file = "testdata/doubts.txt"
	head, cases := badDocuments(t, file)
	for i := range cases {
		c := &cases[i]
		t.Run(c.name, func(t *testing.T) {
			parts := strings.Split(c.document, "@file ")
			s, err := Parse("study.yaml", []byte(parts[0]))
			if err != nil {
				t.Fatal(err)
			}
			files := map[string][]byte{}
			for _, p := range parts[1:] {
				name, body, _ := strings.Cut(p, "\n")
				files[name] = []byte(body)
			}
			var b strings.Builder
			for _, f := range Check(s, files) {
				if f.Code == "" || f.What == "" {
					t.Errorf("incomplete: %#v", f)
				}
				b.WriteString(f.Text() + "\n")
			}
			got := b.String()
			if got == "" {
				got = "nothing to settle\n"
			}
			if *update {
				c.says = got
			} else if d := cmp.Diff(c.says, got); d != "" {
				t.Errorf("(-want +got)\n%s", d)
			}
		})
	}
	if *update {
		writeCases(t, file, head, cases)
	}
}

func writeCases(t *testing.T, file, head string, cases []badDocument) {
	t.Helper()
	var b strings.Builder
	b.WriteString(head)
	for _, c := range cases {
		b.WriteString("=== " + c.name + "\n" + c.document + "=== says\n" + c.says)
	}
	if err := os.WriteFile(file, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}
