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
// program never calls; each start would pay for loading them.
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
	if out, err := exec.Command("go", "build", "-ldflags="+ldflags(t), "-o", program, ".").CombinedOutput(); err != nil {
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
	for _, name := range []string{"imgcodecs", "highgui", "videoio", "dnn"} {
		if strings.Contains(libraries, "libopencv_"+name) {
			t.Errorf("the program loads libopencv_%s; a call into that part of gocv has crept in", name)
		}
	}
}

// ldflags reads the linker's flags from the Makefile, their one place.
func ldflags(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("../../Makefile")
	if err != nil {
		t.Fatal(err)
	}
	m := regexp.MustCompile(`(?m)^LDFLAGS := -ldflags='(.*)'$`).FindSubmatch(text)
	if m == nil {
		t.Fatal("the Makefile has no line LDFLAGS := -ldflags='...'")
	}
	return string(m[1])
}
