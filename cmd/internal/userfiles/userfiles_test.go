package userfiles

import (
	"os"
	"path/filepath"
	"testing"
)

func TestPath(t *testing.T) {
	t.Setenv("HOME", "/home/somebody")
	for _, c := range []struct{ config, want string }{
		{"/etc/mine", "/etc/mine/stripgap/a.toml"},
		{"", "/home/somebody/.config/stripgap/a.toml"},
		{"relative", "/home/somebody/.config/stripgap/a.toml"}, // to be ignored, says the specification
	} {
		t.Setenv("XDG_CONFIG_HOME", c.config)
		if got, err := Path("a.toml"); err != nil || got != c.want {
			t.Errorf("XDG_CONFIG_HOME=%q: %q, %v, want %q", c.config, got, err, c.want)
		}
	}
	t.Setenv("XDG_CONFIG_HOME", "")
	t.Setenv("HOME", "")
	if got, err := Path("a.toml"); err == nil {
		t.Errorf("nowhere to keep it, and %q", got)
	}
	if data, _, err := Read("a.toml"); data != nil || err != nil {
		t.Errorf("nowhere to keep it, and %q, %v", data, err)
	}
	if _, err := Write("a.toml", nil); err == nil {
		t.Error("nowhere to keep it, and written")
	}
}

func TestReadAndWrite(t *testing.T) {
	base := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", base)
	if data, path, err := Read("a.toml"); data != nil || err != nil || path != filepath.Join(base, "stripgap/a.toml") {
		t.Errorf("before anything is written: %q, %q, %v", data, path, err)
	}
	for _, text := range []string{"first, and longer", "second"} {
		if _, err := Write("a.toml", []byte(text)); err != nil {
			t.Fatal(err)
		}
		if data, _, err := Read("a.toml"); string(data) != text || err != nil {
			t.Errorf("%q, %v, want %q", data, err, text)
		}
	}
	left, err := os.ReadDir(filepath.Join(base, "stripgap"))
	if err != nil || len(left) != 1 {
		t.Errorf("the folder holds %v, %v", left, err)
	}
	// A folder in the file's place can be neither read nor replaced.
	if err := os.Mkdir(filepath.Join(base, "stripgap/b.toml"), 0o755); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Read("b.toml"); err == nil {
		t.Error("a folder is read")
	}
	if _, err := Write("b.toml", nil); err == nil {
		t.Error("a folder is replaced")
	}
}
