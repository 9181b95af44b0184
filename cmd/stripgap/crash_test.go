package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/worker"
)

// TestReadSurvivesACrash kills the process that reads one photo of a batch: that
// photo is refused and the others are read.
func TestReadSurvivesACrash(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program and reads photos")
	}
	dir := t.TempDir()
	program := filepath.Join(dir, "stripgap")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	stuck := filepath.Join(dir, "stuck.jpg") // a pipe: reading it waits for its writer
	if err := syscall.Mkfifo(stuck, 0o600); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	cmd := exec.Command(program, "read", "--jobs", "1", "--format", "json", stuck, "../../samples/gauge050.jpg", filepath.Join(dir, "gone.jpg"))
	cmd.Stdout, cmd.Stderr = &out, os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	pipe, err := os.OpenFile(stuck, os.O_WRONLY, 0) // opens when the reader has
	if err != nil {
		t.Fatal(err)
	}
	defer pipe.Close()
	if err := syscall.Kill(childOf(t, cmd.Process.Pid), syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	var exit *exec.ExitError
	if err := cmd.Wait(); !errors.As(err, &exit) || exit.ExitCode() != exitFailed {
		t.Errorf("%v, want exit code %d", err, exitFailed)
	}
	var doc pipeline.Document
	if err := json.Unmarshal(out.Bytes(), &doc); err != nil || len(doc.Results) != 3 {
		t.Fatalf("%v\n%s", err, out.Bytes())
	}
	if why := doc.Results[0].Refusal; why == nil || why.Code != worker.CodeCrashed {
		t.Errorf("the killed one: %+v", why)
	}
	if r := doc.Results[1]; r.Outcome != pipeline.OutcomeRead {
		t.Errorf("the next one: %+v", r.Refusal)
	}
}

// childOf is the only child of a process.
func childOf(t *testing.T, parent int) int {
	t.Helper()
	// Each thread lists the processes that it started.
	threads, err := filepath.Glob(filepath.Join("/proc", strconv.Itoa(parent), "task", "*", "children"))
	if err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, thread := range threads {
		text, _ := os.ReadFile(thread)
		list = append(list, strings.Fields(string(text))...)
	}
	for _, word := range list {
		if pid, err := strconv.Atoi(word); err == nil {
			return pid
		}
	}
	t.Fatal("the program reads in no process of its own")
	return 0
}
