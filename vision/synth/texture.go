package synth

import (
	"math"
	"math/rand/v2"
)

// Streams of random numbers, one a purpose, so that a change to one texture
// leaves all others as they were.
const (
	streamEdges = iota + 1
	streamEnds
	streamJitter
	streamLines
	streamStains
	streamCloud
	streamSensor
	streamFaults
)

func newRand(seed uint64, stream uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, stream)) }

// wave is smooth random noise of one variable with zero mean and standard
// deviation 1, sampled at equal steps.
type wave []float64

// newWave returns n samples correlated over scale samples.
func newWave(rng *rand.Rand, n int, scale float64) wave {
	reach := int(math.Ceil(4 * scale))
	kernel := make([]float64, 2*reach+1)
	var power float64
	for i := range kernel {
		x := float64(i-reach) / scale
		kernel[i] = math.Exp(-x * x)
		power += kernel[i] * kernel[i]
	}
	white := make([]float64, n+2*reach)
	for i := range white {
		white[i] = rng.NormFloat64() / math.Sqrt(power)
	}
	w := make(wave, n)
	for i := range w {
		for j, k := range kernel {
			w[i] += k * white[i+j]
		}
	}
	return w
}

// smooth convolves y with a Gaussian of standard deviation sd samples; beyond its
// ends y is taken as 0.
func smooth(y []float64, sd float64) []float64 {
	reach := int(math.Ceil(4 * sd))
	kernel := make([]float64, 2*reach+1)
	var sum float64
	for i := range kernel {
		x := float64(i-reach) / sd
		kernel[i] = math.Exp(-x * x / 2)
		sum += kernel[i]
	}
	out := make([]float64, len(y))
	for i, v := range y {
		if v == 0 {
			continue
		}
		for k, g := range kernel {
			if n := i + k - reach; n >= 0 && n < len(y) {
				out[n] += v * g / sum
			}
		}
	}
	return out
}

// cloudSize is the side of a cloud's tile, a power of two.
const cloudSize = 256

// cloud is random noise of two variables that repeats every cloudSize cells,
// with zero mean and standard deviation 1 at its nodes.
type cloud struct{ node []float32 }

func newCloud(rng *rand.Rand) *cloud {
	c := &cloud{make([]float32, cloudSize*cloudSize)}
	for i := range c.node {
		c.node[i] = float32(rng.NormFloat64())
	}
	return c
}

// at returns the noise at (x, y) in cells, bilinear between the nodes.
func (c *cloud) at(x, y float64) float64 {
	fx, fy := math.Floor(x), math.Floor(y)
	tx, ty := float32(x-fx), float32(y-fy)
	i, j := int(fx)&(cloudSize-1), int(fy)&(cloudSize-1)
	i1, j1 := (i+1)&(cloudSize-1), (j+1)&(cloudSize-1)
	a := c.node[j*cloudSize+i]
	b := c.node[j*cloudSize+i1]
	d := c.node[j1*cloudSize+i]
	e := c.node[j1*cloudSize+i1]
	top, low := a+tx*(b-a), d+tx*(e-d)
	return float64(top + ty*(low-top))
}

// rough sums octaves of the noise at (x, y) in cells of the coarsest; each next
// octave is half as large and half as strong.
func (c *cloud) rough(x, y float64, octaves int) float64 {
	sum, gain := 0.0, 1.0
	for range octaves {
		sum += gain * c.at(x, y)
		x, y, gain = 2*x+17.3, 2*y+5.7, gain/2
	}
	return sum
}
