package vision

// The steps between neighbours, in levels over a pixel to both sides, that part one
// area from the next: of the features, and of the features with luma itself for its
// logarithm, in which the steps of light metal are lost.
var (
	smoothLevels = []float32{6, 10, 16, 26}
	lightLevels  = []float32{4}
)

// smooth lists the long, even areas without steps inside. A film is smooth, and
// sharp edges part it from the metal, whatever lies round about: this finds a
// strip where the surroundings are not one ground but part, gap and bench top.
func (g *ground) smooth() (out []candidate, err error) {
	for _, look := range [2]struct {
		luma   *Plane
		levels []float32
	}{{g.feature[0], smoothLevels}, {g.luma, lightLevels}} {
		step, err := g.steps([3]*Plane{look.luma, g.feature[1], g.feature[2]})
		if err != nil {
			return nil, err
		}
		for _, level := range look.levels {
			mask := NewPlane(g.w, g.h)
			for i := range mask.Pix {
				if g.kind[i] == 0 && step[i] < level*level {
					mask.Pix[i] = 255
				}
			}
			out = g.shapes(mask, out, g.ringed)
		}
	}
	return out, nil
}

// steps are the squares of the planes' steps at each place.
func (g *ground) steps(planes [3]*Plane) ([]float32, error) {
	step := newRaster[float32](g.w * g.h)
	for _, p := range planes {
		f, err := blurGauss(p, 0.8)
		if err != nil {
			return nil, err
		}
		for y := 1; y < g.h-1; y++ {
			for x := 1; x < g.w-1; x++ {
				i := y*g.w + x
				dx := float32(f.Pix[i+1]) - float32(f.Pix[i-1])
				dy := float32(f.Pix[i+g.w]) - float32(f.Pix[i-g.w])
				step[i] += dx*dx + dy*dy
			}
		}
	}
	return step, nil
}
