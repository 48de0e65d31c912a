package cli

import (
	"bytes"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"trivet/fault"
)

// do runs one command by itself and returns what it would print.
func do(t *testing.T, asJSON bool, build func(*Env) *cobra.Command, args ...string) (string, error) {
	t.Helper()
	env := NewEnv(strings.NewReader(""), io.Discard, io.Discard)
	env.JSON = asJSON
	c := build(env)
	c.SetArgs(args)
	c.SilenceErrors, c.SilenceUsage = true, true
	err := c.Execute()
	return env.out.String(), err
}

func TestStudyNewThenCheck(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "study.yaml")
	out, err := do(t, false, newStudyNew, "Salt early or late", "--out", file)
	if err != nil || !strings.Contains(out, "trivet study check "+file) {
		t.Fatalf("%q %v", out, err)
	}

	// A document is never overwritten unasked.
	if err := os.WriteFile(file, append(must(os.ReadFile(file)), "# mine\n"...), 0o644); err != nil {
		t.Fatal(err)
	}
	_, err = do(t, false, newStudyNew, "Other", "--out", file)
	if e := fault.As(err); e == nil || e.Code != "file-exists" || e.Kind != fault.Usage {
		t.Fatalf("overwriting: %v", err)
	}
	if !bytes.HasSuffix(must(os.ReadFile(file)), []byte("# mine\n")) {
		t.Fatal("the document was changed")
	}

	for _, arg := range []string{file, dir} { // by file and by folder
		out, err = do(t, false, newStudyCheck, arg)
		if err != nil || !strings.HasPrefix(out, "Salt early or late: 9 missing\n\nmissing\n  claim.says, line 9\n    the claim is not written down.\n    → write") {
			t.Fatalf("%v\n%s", err, out)
		}
	}
	for line := range strings.Lines(out) {
		if len([]rune(line)) > 90 {
			t.Errorf("long line: %s", line)
		}
	}
	_, err = do(t, false, newStudyCheck, dir, "--strict")
	if err == nil || !strings.Contains(err.Error(), "study.yaml:9, claim.says: the claim is not written down; write") {
		t.Errorf("strict: %v", err)
	}

	if _, err = do(t, false, newStudyNew, "Other", "--out", file, "--force"); err != nil {
		t.Fatal(err)
	}
	if left := must(os.ReadDir(dir)); len(left) != 1 {
		t.Errorf("files left behind: %v", left)
	}
	out, err = do(t, true, newStudyCheck, file)
	var got struct {
		Format   int
		Study    string
		Findings []struct{ Severity, Code, Where, What, Fix string }
	}
	if err != nil || json.Unmarshal([]byte(out), &got) != nil || got.Study != "other" || len(got.Findings) != 9 || got.Findings[4].Code != "no-margin" {
		t.Errorf("%v %+v", err, got)
	}
}

func TestStudyCheckReadsCookFiles(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("study.yaml", "study: T\ntreatments: [{id: a, cook: a.yaml}, {id: b, cook: b.yaml}]\n")
	write("a.yaml", "piece: {thickness: 30}\n")
	out, err := do(t, false, newStudyCheck, dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"a.yaml:1:20, piece.thickness", "b.yaml is not there"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing in\n%s", want, out)
		}
	}
}

func TestStudyCheckErrors(t *testing.T) {
	dir := t.TempDir()
	bad := filepath.Join(dir, "bad.yaml")
	if err := os.WriteFile(bad, []byte("study: T\nclaim: {say: x}\nrisk: {alpha: 9}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, arg string
		kind      fault.Kind
		says      string
	}{
		{"no file", filepath.Join(dir, "none.yaml"), fault.Usage, "no such file or folder"},
		{"no document in the folder", dir, fault.Usage, "trivet study new"},
		{"two mistakes", bad, fault.Content, "bad.yaml:3:15, risk.alpha: this share is out of range"},
	} {
		out, err := do(t, false, newStudyCheck, c.arg)
		if e := fault.As(err); e == nil || e.Kind != c.kind || !strings.Contains(err.Error(), c.says) || out != "" {
			t.Errorf("%s: %q %v", c.name, out, err)
		}
	}
	if _, err := do(t, false, newStudyNew, "T", "--out", filepath.Join(dir, "no", "study.yaml")); fault.As(err) == nil || fault.As(err).Code != "folder-missing" {
		t.Errorf("%v", err)
	}
}

func TestStudySchema(t *testing.T) {
	out, err := do(t, false, newStudySchema)
	var schema map[string]any
	if err != nil || json.Unmarshal([]byte(out), &schema) != nil || schema["title"] != "trivet study" {
		t.Errorf("%v %.80s", err, out)
	}
	out, err = do(t, false, newStudySchema, "--responses")
	if err != nil || !strings.Contains(out, "time_to_core(60 °C)  s") {
		t.Errorf("%v\n%s", err, out)
	}
	out, err = do(t, true, newStudySchema, "--responses")
	if err != nil || !json.Valid([]byte(out)) {
		t.Errorf("%v\n%s", err, out)
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}
