package cli_test

import (
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"trivet/cli"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"trivet": func() { os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// The scripts of testdata/script run the real command line: each shows one
// job, or what a person sees who gets it wrong.
func TestScripts(t *testing.T) {
	root, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Cmds:                tableCommands,
		Setup: func(env *testscript.Env) error {
			env.Setenv("EXAMPLES", root+"/../examples")
			env.Setenv("HOME", env.WorkDir)
			return nil
		},
	})
}
