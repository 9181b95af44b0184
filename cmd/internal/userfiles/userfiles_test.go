package userfiles

import (
	"errors"
	"os"
	"path/filepath"
	"sync"
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
	if _, err := Update("a.toml", put("")); err == nil {
		t.Error("nowhere to keep it, and written")
	}
}

// put is a change to a text, whatever was there.
func put(text string) func([]byte, string) ([]byte, error) {
	return func([]byte, string) ([]byte, error) { return []byte(text), nil }
}

func TestReadAndUpdate(t *testing.T) {
	base := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", base)
	if data, path, err := Read("a.toml"); data != nil || err != nil || path != filepath.Join(base, "stripgap/a.toml") {
		t.Errorf("before anything is written: %q, %q, %v", data, path, err)
	}
	for _, text := range []string{"first, and longer", "second"} {
		if _, err := Update("a.toml", put(text)); err != nil {
			t.Fatal(err)
		}
		if data, _, err := Read("a.toml"); string(data) != text || err != nil {
			t.Errorf("%q, %v, want %q", data, err, text)
		}
	}
	left, err := os.ReadDir(filepath.Join(base, "stripgap"))
	if err != nil || len(left) != 2 { // the file and its lock
		t.Errorf("the folder holds %v, %v", left, err)
	}
	// A folder in the file's place can be neither read nor replaced.
	if err := os.Mkdir(filepath.Join(base, "stripgap/b.toml"), 0o755); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Read("b.toml"); err == nil {
		t.Error("a folder is read")
	}
	if _, err := Update("b.toml", put("")); err == nil {
		t.Error("a folder is replaced")
	}
}

// TestUpdateRefused: a change that fails leaves everything as it was.
func TestUpdateRefused(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	if _, err := Update("a.toml", put("kept")); err != nil {
		t.Fatal(err)
	}
	no := errors.New("no")
	if _, err := Update("a.toml", func([]byte, string) ([]byte, error) { return []byte("lost"), no }); !errors.Is(err, no) {
		t.Errorf("%v", err)
	}
	if data, _, err := Read("a.toml"); string(data) != "kept" || err != nil {
		t.Errorf("%q, %v", data, err)
	}
}

// TestUpdateTogether: of many updates at the same time none is lost.
func TestUpdateTogether(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	const many = 40
	var wait sync.WaitGroup
	for range many {
		wait.Go(func() {
			if _, err := Update("a.toml", func(data []byte, _ string) ([]byte, error) { return append(data, 'x'), nil }); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	if data, _, err := Read("a.toml"); len(data) != many || err != nil {
		t.Errorf("%d of %d are kept, %v", len(data), many, err)
	}
}
