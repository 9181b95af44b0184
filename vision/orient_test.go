package vision

import (
	"fmt"
	"math"
	"testing"
)

// orientations is the table of CIPA DC-008 (Exif 2.32), tag Orientation: the
// side of the upright picture at which the stored 0th row and column lie.
var orientations = []struct{ row, column string }{
	1: {"top", "left"}, 2: {"top", "right"}, 3: {"bottom", "right"}, 4: {"bottom", "left"},
	5: {"left", "top"}, 6: {"right", "top"}, 7: {"right", "bottom"}, 8: {"left", "bottom"},
}

// uprightPlace reads the table literally: where the stored pixel (column, row)
// of a w by h picture is seen.
func uprightPlace(o, column, row, w, h int) (x, y int) {
	put := func(side string, i, n int) {
		switch side {
		case "top":
			y = i
		case "bottom":
			y = n - 1 - i
		case "left":
			x = i
		case "right":
			x = n - 1 - i
		}
	}
	put(orientations[o].row, row, h)
	put(orientations[o].column, column, w)
	return x, y
}

// All eight orientations, for every subsampling, on a picture whose height is
// odd: each pixel's full colour must arrive where the table says.
func TestOrientationsAgainstTable(t *testing.T) {
	for _, sub := range []string{"444", "422", "420", "440", "411", "410"} {
		file := fixture(t, "video-001.q50."+sub+".jpeg")
		stored := mustDecode(t, sub, file)
		for o := 1; o <= 8; o++ {
			name := fmt.Sprintf("%s orientation %d", sub, o)
			p := mustDecode(t, name, withExif(file, tiffWith(exifTag{0x0112, exifShort(uint16(o))})))
			if p.Exif.Orientation != o {
				t.Fatalf("%s: read as %d", name, p.Exif.Orientation)
			}
			compareUpright(t, name, o, stored, p)
		}
	}
}

func compareUpright(t *testing.T, name string, o int, stored, p *Photo) {
	t.Helper()
	w, h := stored.Width(), stored.Height()
	if x, y := uprightPlace(o, w-1, h-1, w, h); max(x, p.Width()-1-x) != p.Width()-1 || max(y, p.Height()-1-y) != p.Height()-1 {
		t.Fatalf("%s: %d x %d pixels", name, p.Width(), p.Height())
	}
	for row := range h {
		for column := range w {
			x, y := uprightPlace(o, column, row, w, h)
			r, g, b := p.RGB(x, y)
			R, G, B := stored.RGB(column, row)
			// The same sums in another order: rounding of float64 only.
			if math.Abs(r-R)+math.Abs(g-G)+math.Abs(b-B) > 1e-9 {
				t.Fatalf("%s: stored (%d,%d) is %.1f %.1f %.1f, seen at (%d,%d) as %.1f %.1f %.1f",
					name, column, row, R, G, B, x, y, r, g, b)
			}
		}
	}
}

// A plane larger than a tile and no multiple of it.
func TestTurnedPlaneAgainstTable(t *testing.T) {
	p := NewPlane(131, 67)
	for i := range p.Pix {
		p.Pix[i] = uint8(i * 7)
	}
	for o := 1; o <= 8; o++ {
		q := p.turned(turns[o])
		for row := range p.H {
			for column := range p.W {
				x, y := uprightPlace(o, column, row, p.W, p.H)
				if q.At(x, y) != p.At(column, row) {
					t.Fatalf("orientation %d: pixel (%d,%d)", o, column, row)
				}
			}
		}
	}
}
