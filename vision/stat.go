package vision

import (
	"math"
	"slices"
)

// median returns the middle value; v must not be empty and is reordered.
func median(v []float64) float64 {
	n := len(v)
	hi := nth(v, n/2)
	if n%2 == 1 {
		return hi
	}
	return (slices.Max(v[:n/2]) + hi) / 2
}

// nth reorders v so that what would stand at place k if it were sorted stands
// there, with nothing larger before it, and returns it (Hoare's quickselect).
func nth(v []float64, k int) float64 {
	lo, hi := 0, len(v)-1
	for lo < hi {
		pivot := v[(lo+hi)/2]
		i, j := lo, hi
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return v[k]
		}
	}
	return v[k]
}

// robustLine is a straight line or parabola y = p[0] + p[1] x + p[2] x^2 fitted
// with Tukey weights.
type robustLine struct {
	p      [3]float64
	cov    [3][3]float64 // for independent errors of the fitted scale
	scale  float64       // robust standard deviation of y at weight 1
	weight []float64     // final weight of each point, 0 is rejected
}

func (l robustLine) at(x float64) float64 { return l.p[0] + x*(l.p[1]+x*l.p[2]) }

// fitRobust fits a polynomial of degree 1 or 2. False with too few points or
// when they do not determine it.
func fitRobust(x, y []float64, degree int) (robustLine, bool) {
	l := robustLine{weight: make([]float64, len(x))}
	if len(x) < degree+3 {
		return l, false
	}
	for i := range l.weight {
		l.weight[i] = 1
	}
	res := make([]float64, len(x))
	for iter := range 30 {
		q := normal{n: degree + 1}
		for i := range x {
			j := [maxUnknowns]float64{1, x[i], x[i] * x[i]}
			q.add(&j, y[i], l.weight[i])
		}
		f, ok := q.factorise()
		if !ok {
			return l, false
		}
		s := f.solve(q.b)
		moved := 0.0
		for k := range degree + 1 {
			moved = math.Max(moved, math.Abs(s[k]-l.p[k])/(math.Abs(s[k])+1e-12))
			l.p[k] = s[k]
		}
		for i := range x {
			res[i] = math.Abs(y[i] - l.at(x[i]))
		}
		l.scale = math.Max(1.4826*median(slices.Clone(res))*float64(len(x))/float64(len(x)-degree-1), 1e-9)
		for a := range degree + 1 {
			c := f.inverse(a)
			for b := range degree + 1 {
				l.cov[a][b] = c[b] * l.scale * l.scale
			}
		}
		if iter > 2 && moved < 1e-9 {
			break
		}
		for i := range x {
			l.weight[i] = tukey(y[i]-l.at(x[i]), 4.685*l.scale)
		}
	}
	return l, true
}

// fitDespiteRun is fitRobust, but for the weights, where as much as a third of the
// points that follow one another, with others on both sides, may lie elsewhere
// together, as over a hole: the fit that the others lie much closer to stands.
func fitDespiteRun(x, y []float64, degree int) (robustLine, bool) {
	best, ok := fitRobust(x, y, degree)
	run := len(x) / 3
	if !ok || run < 2 {
		return best, ok
	}
	const outside = 3 // points at least
	for from := outside; from+run+outside <= len(x); from += max(1, run/4) {
		l, ok := fitRobust(slices.Concat(x[:from], x[from+run:]), slices.Concat(y[:from], y[from+run:]), degree)
		if !ok {
			continue
		}
		res := make([]float64, len(x))
		for i := range x {
			res[i] = math.Abs(y[i] - l.at(x[i]))
		}
		if l.scale = 1.4826 * median(res); 2*l.scale < best.scale {
			best = l
		}
	}
	return best, true
}

// middleMean is the mean of the middle half of v (the interquartile mean), which is
// finer than the median where values come in steps. v must not be empty; it is sorted.
func middleMean(v []float64) float64 {
	slices.Sort(v)
	v = v[len(v)/4 : len(v)-len(v)/4]
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// wrongTogether is how many px of an edge's points count as one: points nearer to one
// another than the blur are wrong together, over the width of a blurred noise's
// autocorrelation.
func wrongTogether(blur float64) float64 { return 2 * math.Sqrt(math.Pi) * blur }
