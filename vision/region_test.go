package vision

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// slowRegions floods from each pixel not yet taken, in row order.
func slowRegions(p *Plane, least int) [][]int32 {
	seen := make([]bool, len(p.Pix))
	var out [][]int32
	for start := range p.Pix {
		if p.Pix[start] == 0 || seen[start] {
			continue
		}
		seen[start] = true
		area := []int32{int32(start)}
		for k := 0; k < len(area); k++ {
			x, y := int(area[k])%p.W, int(area[k])/p.W
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					u, v := x+dx, y+dy
					if u < 0 || v < 0 || u >= p.W || v >= p.H || p.At(u, v) == 0 || seen[v*p.W+u] {
						continue
					}
					seen[v*p.W+u] = true
					area = append(area, int32(v*p.W+u))
				}
			}
		}
		if slices.Sort(area); len(area) >= least {
			out = append(out, area)
		}
	}
	return out
}

// TestRegionsEqualFlood on specks of many densities, where areas meet in every way.
func TestRegionsEqualFlood(t *testing.T) {
	for trial := range 40 {
		rng := rand.New(rand.NewPCG(51, uint64(trial)))
		p := NewPlane(1+rng.IntN(40), 1+rng.IntN(30))
		density := rng.Float64()
		for i := range p.Pix {
			if rng.Float64() < density {
				p.Pix[i] = 255
			}
		}
		for _, least := range []int{1, 5} {
			got, want := regions(p, least), slowRegions(p, least)
			if len(got) != len(want) {
				t.Fatalf("trial %d: %d regions of %d, want %d", trial, len(got), least, len(want))
			}
			for i := range got {
				if slices.Sort(got[i]); !slices.Equal(got[i], want[i]) {
					t.Fatalf("trial %d: region %d is %v, want %v", trial, i, got[i], want[i])
				}
			}
		}
	}
}
