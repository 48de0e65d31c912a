// Command trivet carries a cooking claim from question to published answer.
package main

import (
	"os"

	"trivet/cli"
)

func main() { os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }
