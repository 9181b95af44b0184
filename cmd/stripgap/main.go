// Command stripgap reads the oil clearance of an engine bearing from a phone
// photo of a flattened gauging strip beside a printed calibration card.
package main

import (
	"io"
	"os"
)

func main() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }

// run is the whole program: args without the program's name in, exit code out.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	root := newRootCommand()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	cmd, err := root.ExecuteC()
	return explain(cmd, err)
}
