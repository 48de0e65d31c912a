package cli

import (
	"bytes"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"trivet/fault"
)

// Env is what a command may touch of the world: streams, clock, chance and
// the flags every command shares.
type Env struct {
	Stdin  io.Reader
	Stdout io.Writer
	Stderr io.Writer
	Now    func() time.Time
	Random io.Reader // cryptographic

	JSON         bool
	NotebookPath string
	Units        string // metric | us
	Interactive  bool   // stderr is a terminal: progress may be drawn

	out bytes.Buffer // what goes to stdout when the command succeeds
}

// NewEnv returns the environment of a process.
func NewEnv(stdin io.Reader, stdout, stderr io.Writer) *Env {
	e := &Env{Stdin: stdin, Stdout: stdout, Stderr: stderr, Now: time.Now, Random: rand.Reader}
	e.NotebookPath = "notebook.trivet"
	if p := os.Getenv("TRIVET_NOTEBOOK"); p != "" {
		e.NotebookPath = p
	}
	if f, ok := stderr.(*os.File); ok {
		e.Interactive = term.IsTerminal(int(f.Fd()))
	}
	return e
}

// Printf adds to the result.
func (e *Env) Printf(format string, args ...any) { fmt.Fprintf(&e.out, format, args...) }

// Write adds to the result, so that an Env can be printed to.
func (e *Env) Write(p []byte) (int, error) { return e.out.Write(p) }

// Tell says something to the person at the terminal, apart from the result.
func (e *Env) Tell(format string, args ...any) {
	if !e.JSON {
		fmt.Fprintf(e.Stderr, format+"\n", args...)
	}
}

// PrintJSON makes v the result, indented, one value.
func (e *Env) PrintJSON(v any) error {
	enc := json.NewEncoder(&e.out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

// PrintNotes adds the notes of a result under it.
func (e *Env) PrintNotes(notes []fault.Note) {
	if len(notes) == 0 {
		return
	}
	e.Printf("\n")
	for _, n := range notes {
		e.Printf("· %s\n", n.Text)
	}
}

// Fahrenheit reports whether temperatures are shown in °F.
func (e *Env) Fahrenheit() bool { return e.Units == "us" }

// errorBody is the JSON form of one error.
type errorBody struct {
	Code    string `json:"code"`
	Message string `json:"message"`
	Where   string `json:"where"`
	Value   string `json:"value"`
	Fix     string `json:"fix"`
}

func bodyOf(f *fault.Error) errorBody {
	return errorBody{string(f.Code), f.Message, f.Where(), f.Value, f.Fix}
}

// writeErrorJSON prints {"error": …}; when one input had several mistakes,
// "errors" lists them all.
func writeErrorJSON(w io.Writer, err error, f *fault.Error) {
	out := map[string]any{"error": errorBody{Code: "other", Message: err.Error()}}
	if f != nil {
		out["error"] = bodyOf(f)
	}
	var list fault.List
	if errors.As(err, &list) && len(list) > 1 {
		all := make([]errorBody, len(list))
		for i, e := range list {
			all[i] = bodyOf(e)
		}
		out["errors"] = all
	}
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.Encode(out)
}

type commandGroup struct {
	id    string
	build []func(*Env) *cobra.Command
}

// commands lists every command, in the order help shows them.
func commands() []commandGroup {
	return []commandGroup{
		{"record", []func(*Env) *cobra.Command{newStudy, newLoad, newClock, newMeasure, newLethality, newBackup, newRestore}},
		{"work", []func(*Env) *cobra.Command{newPlan, newTaste, newServe, newSimulate}},
		{"finding", []func(*Env) *cobra.Command{newAnswer, newCompare, newPublish, newDemo}},
	}
}
