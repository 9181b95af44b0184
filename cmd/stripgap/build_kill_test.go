package main

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stripgap/cmd/internal/folder"
)

// program is the test binary as the program itself; see TestMain.
func program(args ...string) *exec.Cmd {
	cmd := exec.Command(os.Args[0], args...)
	cmd.Args[0] = "stripgap"
	return cmd
}

// runs runs the program to its end.
func runs(t *testing.T, want int, args ...string) (stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	cmd := program(args...)
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); cmd.ProcessState.ExitCode() != want {
		t.Fatalf("stripgap %q: %v, want exit code %d\n%s%s", args, err, want, out.String(), errs.String())
	}
	return out.String(), errs.String()
}

// demoBuild is a build with some photos of the demo.
func demoBuild(t *testing.T, photos ...string) string {
	t.Helper()
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	dir := filepath.Join(t.TempDir(), "engine")
	runs(t, 0, "build", "new", dir, "--from", "../../samples/build/build.toml")
	runs(t, 0, "build", "tags", dir, "--sheet", "KETDWY")
	copyFile(t, filepath.Join(dir, "lot.toml"), "../../samples/build/lot.toml")
	for _, p := range photos {
		copyFile(t, filepath.Join(dir, "photos", p), "../../samples/build/photos/"+p)
	}
	return dir
}

func copyFile(t *testing.T, to, from string) {
	t.Helper()
	data, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(to, data, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// TestBuildReadKilled kills the program while it reads real photos. What it said it
// read is there afterwards, and each photo is read exactly once. The many kills are
// in cmd/internal/folder, with a reader that takes no time.
func TestBuildReadKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("reads photos")
	}
	photos := []string{"main1.jpg", "main2.jpg", "main2b.jpg", "main5.jpg"}
	dir := demoBuild(t, photos...)
	draw := rand.New(rand.NewPCG(4, 5))
	var said strings.Builder
	for range 6 {
		cmd := program("build", "read", dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		killer := time.AfterFunc(time.Duration(draw.Float64()*float64(1500*time.Millisecond)), func() { cmd.Process.Kill() })
		io.Copy(&said, out)
		cmd.Wait()
		killer.Stop()
	}
	runs(t, 0, "build", "read", dir)
	v, err := folder.Look(dir)
	if err != nil {
		t.Fatal(err)
	}
	times := map[string]int{}
	for _, r := range v.Journal.Readings() {
		name := r.Photos[0].Name
		times[name]++
		if line := name + ": reading "; strings.Contains(said.String(), line) && !strings.Contains(said.String(), fmt.Sprintf("%s%d, ", line, r.Number)) {
			t.Errorf("%s is reading %d, and was told as another:\n%s", name, r.Number, said.String())
		}
		if data, err := os.ReadFile(v.Path(r.Picture)); err != nil || len(data) == 0 {
			t.Errorf("%s: its picture: %v", name, err)
		}
	}
	for _, p := range photos {
		if times[p] != 1 {
			t.Errorf("%s is there %d times", p, times[p])
		}
	}
}

// TestBuildInUse has one process hold a build: others may look, not write.
func TestBuildInUse(t *testing.T) {
	dir := demoBuild(t)
	f, err := folder.Open(dir, "stripgap serve")
	if err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"build", "read", dir}, {"build", "tags", dir}, {"build", "withdraw", dir, "1", "--reason", "x"}} {
		_, stderr := runs(t, 1, args...)
		want := fmt.Sprintf("%s: the build is in use by stripgap serve (process %d); wait until that has ended, or end it\n", dir, os.Getpid())
		if !strings.HasSuffix(stderr, want) {
			t.Errorf("%q: %s", args, stderr)
		}
	}
	runs(t, 0, "build", "status", dir)
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	runs(t, 0, "build", "read", dir)
}
