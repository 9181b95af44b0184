package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"stripgap/cmd/internal/worker"
)

// TestMain lets the test binary be the program, so that scripts run it as a
// process of its own.
func TestMain(m *testing.M) {
	if worker.IsReader() { // of a command that a test ran in this process
		os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
	}
	testscript.Main(m, map[string]func(){
		"stripgap": func() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// TestScripts runs the transcripts in testdata/script. $SAMPLES is the folder of
// the demo build.
func TestScripts(t *testing.T) {
	samples, err := filepath.Abs("../../samples")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("SAMPLES", samples)
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"benchcard":  renderCard,
			"crushed":    renderCrushed,
			"demophotos": demoPhotos,
			"demorecord": demoRecord,
			"demostatus": demoStatus,
			"edited":     editLine,
			"exits":      exits,
			"photo":      writePhoto,
			"replace":    replaceText,
			"scale":      renderScale,
			"same":       sameFigure,
			"strand":     renderStrand,
			"torn":       tearLine,
		},
	})
}

// exits runs a program and checks its exit code: exits CODE PROGRAM ARGS...
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE PROGRAM ARGS...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%s: %v", args[1], err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d", got, want)
	}
}
