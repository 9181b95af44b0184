package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestLinkage builds the program as the Makefile does and checks what it loads.
// OpenCV's codecs, windows and video drag in some 240 libraries that this
// program never calls, its camera calibration three; each start would pay for
// loading them.
func TestLinkage(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program")
	}
	for _, tool := range []string{"ldd", "ld.lld"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("%s is not installed; `make setup` installs it", tool)
		}
	}
	program := filepath.Join(t.TempDir(), "stripgap")
	build := exec.Command("go", "build", "-ldflags="+inMakefile(t, `LDFLAGS := -ldflags='(.*)'`), "-o", program, ".")
	cflags := inMakefile(t, `export CGO_CFLAGS := (.*)`)
	build.Env = append(build.Environ(), "CGO_CFLAGS="+cflags, "CGO_CXXFLAGS="+cflags)
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	out, err := exec.Command("ldd", program).Output()
	if err != nil {
		t.Fatal(err)
	}
	libraries := string(out)
	if !strings.Contains(libraries, "libopencv_core") {
		t.Fatalf("OpenCV itself is not linked, so this test sees nothing:\n%s", libraries)
	}
	for _, name := range []string{"imgcodecs", "highgui", "videoio", "dnn", "calib3d"} {
		if strings.Contains(libraries, "libopencv_"+name) {
			t.Errorf("the program loads libopencv_%s; a call into that part of gocv has crept in", name)
		}
	}
}

// inMakefile reads flags from the line of the Makefile, their one place, that is
// like line.
func inMakefile(t *testing.T, line string) string {
	t.Helper()
	text, err := os.ReadFile("../../Makefile")
	if err != nil {
		t.Fatal(err)
	}
	m := regexp.MustCompile("(?m)^" + line + "$").FindSubmatch(text)
	if m == nil {
		t.Fatalf("the Makefile has no line %s", line)
	}
	return string(m[1])
}
