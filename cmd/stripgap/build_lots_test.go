package main

import (
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
)

// TestLotsForAtOnce: photos that are read at the same time may be the first to ask for
// different files; an answer stays what it was for those who got it, and who asks
// anew learns what stands there now.
func TestLotsForAtOnce(t *testing.T) {
	dir := t.TempDir()
	write := func(n int, area float64) {
		text := fmt.Sprintf("[[lot]]\nname = \"a\"\nsection_area = \"%.4f mm2\"\nsection_area_u = \"0.0004 mm2\"\nrange_lo = \"0.025 mm\"\nrange_hi = \"0.076 mm\"\n", area)
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("lot%d.toml", n)), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	const files = 40
	for n := range files {
		write(n, 0.07)
	}
	lots := lotsFor(dir)
	var wait sync.WaitGroup
	for n := range files {
		wait.Go(func() {
			lot, err := lots(build.Strip{File: fmt.Sprintf("lot%d.toml", n)})
			if err != nil || lot.SectionArea.X != 0.07 {
				t.Errorf("%v, %v", lot, err)
			}
		})
	}
	wait.Wait()
	write(0, 0.08)
	for i, ask := range []folder.Lots{lots, lotsFor(dir)} {
		want := [2]float64{0.07, 0.08}[i]
		if lot, err := ask(build.Strip{File: "lot0.toml"}); err != nil || lot.SectionArea.X != want {
			t.Errorf("%v, %v, want %v mm2", lot, err, want)
		}
	}
}
