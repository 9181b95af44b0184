package wholefile

import (
	"os"
	"path/filepath"
	"testing"
)

func TestWrite(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	if err := os.WriteFile("a", []byte("old, and longer"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := Write("a", []byte("new")); err != nil {
		t.Fatal(err)
	}
	if got, _ := os.ReadFile("a"); string(got) != "new" {
		t.Errorf("got %q", got)
	}
	// A folder in the way cannot be replaced: an error, and nothing left behind.
	if err := os.Mkdir("b", 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("b/c", nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := Write("b", []byte("x")); err == nil {
		t.Error("overwrote a folder")
	}
	if err := Write("none/d", nil); err == nil || err.Error() != "open none/d: no such file or directory" {
		t.Errorf("into a folder that is not there: %v", err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".stripgap-*")); len(left) > 0 {
		t.Errorf("left %q", left)
	}
}
