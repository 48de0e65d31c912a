// Package cli is the command line of trivet: one file a command, which
// parses flags, calls a use case and prints what it returns.
//
// Rules of the house: results go to stdout and only when the whole command
// succeeded; progress, notes to the person and errors go to stderr. Exit
// status 0 means done whatever the verdict, 1 that the content could not be
// used, 2 wrong use, 130 interrupted.
package cli

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"trivet/fault"
)

// Version is the program's version, set by the linker for a release.
var Version = "0.1.0-dev"

// Exit statuses.
const (
	exitDone        = 0
	exitContent     = 1
	exitUsage       = 2
	exitInterrupted = 130
)

// Main runs one command and returns the exit status. It is what both main
// and the tests call.
func Main(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second interrupt ends the program at once
	return Run(ctx, args, NewEnv(stdin, stdout, stderr))
}

// Run runs one command in an environment.
func Run(ctx context.Context, args []string, env *Env) (status int) {
	root := newRoot(env)
	root.SetArgs(args)
	root.SetIn(env.Stdin)
	root.SetOut(&env.out)
	root.SetErr(env.Stderr)
	// A fault of trivet itself must still reach the person as a sentence.
	defer func() {
		if r := recover(); r != nil {
			if os.Getenv("TRIVET_TRACEBACK") != "" {
				panic(r)
			}
			status = env.fail(&fault.Error{Kind: fault.Internal, Code: "internal",
				Message: "trivet met a fault of its own and stopped; nothing half-written was kept",
				Fix:     "please report what you ran; set TRIVET_TRACEBACK=1 to see where it happened"})
		}
	}()
	err := root.ExecuteContext(ctx)
	switch {
	case err == nil:
		if _, err := env.out.WriteTo(env.Stdout); err != nil {
			return env.fail(fault.New("output", "could not write the result").Wrap(err))
		}
		return exitDone
	case errors.Is(err, context.Canceled) && ctx.Err() != nil:
		io.WriteString(env.Stderr, "interrupted\n")
		return exitInterrupted
	default:
		return env.fail(err)
	}
}

func newRoot(env *Env) *cobra.Command {
	root := &cobra.Command{
		Use:   "trivet",
		Short: "From a cooking claim to a published answer",
		Long: `trivet carries a cooking claim from "does it work?" to an answer that anyone
can re-run: plan matched cooks, read the logs, measure the responses, answer
with honest statistics, and publish the report.

Start with "trivet demo", or write your own study with "trivet study new".`,
		Version:       Version,
		SilenceErrors: true,
		SilenceUsage:  true,

		SuggestionsMinimumDistance: 2,
		CompletionOptions:          cobra.CompletionOptions{HiddenDefaultCmd: false},
	}
	root.SetVersionTemplate("trivet {{.Version}}\n")
	root.PersistentFlags().BoolVar(&env.JSON, "json", false, "print one JSON value instead of text")
	root.PersistentFlags().StringVar(&env.NotebookPath, "notebook", env.NotebookPath,
		"the notebook file (or set TRIVET_NOTEBOOK)")
	root.PersistentFlags().StringVar(&env.Units, "units", "metric", "metric (°C, mm, g) or us (°F, in, lb)")
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error {
		return fault.BadUsage("flag", "%s", err).WithFix("run the command with --help to see its flags")
	})
	root.PersistentPreRunE = func(*cobra.Command, []string) error {
		if env.Units != "metric" && env.Units != "us" {
			return fault.BadUsage("units", "unknown units").On("--units", env.Units).WithFix("write metric or us")
		}
		return nil
	}
	root.AddGroup(
		&cobra.Group{ID: "record", Title: "The record:"},
		&cobra.Group{ID: "work", Title: "The work:"},
		&cobra.Group{ID: "finding", Title: "The finding:"},
	)
	for _, group := range commands() {
		for _, build := range group.build {
			c := build(env)
			c.GroupID = group.id
			root.AddCommand(c)
		}
	}
	withUsageErrors(root)
	withCompletion(env, root)
	return root
}

// withUsageErrors turns cobra's own complaints (unknown command, wrong number
// of arguments) into usage errors, so that they exit with 2.
func withUsageErrors(c *cobra.Command) {
	if check := c.Args; check != nil {
		c.Args = func(cmd *cobra.Command, args []string) error {
			if err := check(cmd, args); err != nil {
				return argumentError(cmd, args)
			}
			return nil
		}
	} else if c.HasSubCommands() && c.RunE == nil {
		c.Args = cobra.ArbitraryArgs
		c.RunE = func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cmd.Help()
			}
			e := fault.BadUsage("command", "unknown command %q", args[0])
			if near := cmd.SuggestionsFor(args[0]); len(near) > 0 {
				return e.WithFix("did you mean %s?", strings.Join(near, " or "))
			}
			return e.WithFix("run \"%s --help\" to see the commands", cmd.CommandPath())
		}
	}
	for _, sub := range c.Commands() {
		withUsageErrors(sub)
	}
}

// argumentError says which arguments a command wants and what it was given.
func argumentError(cmd *cobra.Command, args []string) error {
	var want []string
	for _, w := range strings.Fields(cmd.Use)[1:] {
		if strings.HasPrefix(w, "-") {
			break
		}
		want = append(want, w)
	}
	var e *fault.Error
	switch {
	case len(want) == 0:
		e = fault.BadUsage("arguments", "\"%s\" takes nothing more", cmd.CommandPath()).On("", args[0])
	case len(args) < len(want):
		e = fault.BadUsage("arguments", "%s is missing after \"%s\"", want[len(args)], cmd.CommandPath())
	default:
		e = fault.BadUsage("arguments", "\"%s\" takes %s and no more", cmd.CommandPath(), strings.Join(want, " ")).On("", args[len(args)-1])
	}
	return e.WithFix("usage: %s", cmd.UseLine())
}

// fail prints err and returns the exit status it calls for.
func (e *Env) fail(err error) int {
	f := fault.As(err)
	if errors.Is(err, syscall.ENOSPC) && (f == nil || f.Fix == "") {
		e := fault.New("disk-full", "no room left on the disk; what was being written was not kept").Wrap(err)
		if f != nil {
			e.File = f.File
		}
		f = e.WithFix("free some space and try again")
		err = f
	}
	status := exitContent
	if f != nil && f.Kind == fault.Usage {
		status = exitUsage
	}
	if e.JSON {
		writeErrorJSON(e.Stderr, err, f)
		return status
	}
	var b bytes.Buffer
	for line := range strings.SplitSeq(strings.TrimRight(err.Error(), "\n"), "\n") {
		b.WriteString("trivet: " + line + "\n")
	}
	b.WriteTo(e.Stderr)
	return status
}
