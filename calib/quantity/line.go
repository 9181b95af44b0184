package quantity

import (
	"fmt"
	"math"
)

// Pair is a point whose coordinates are both uncertain. Corr is the correlation
// of their errors, above -1 and below 1.
type Pair struct {
	X, Y Value
	Corr float64
}

// variance is that of y - b x, whose inverse is the weight of the point.
func (p Pair) variance(b float64) float64 {
	return p.Y.U*p.Y.U + b*b*p.X.U*p.X.U - 2*b*p.Corr*p.X.U*p.Y.U
}

// Line is a straight line y = Intercept + Slope x with its uncertainties.
type Line struct {
	Slope, Intercept Value
	Cov              float64 // of both
	ChiSquare        float64 // sum of the weighted squared residuals
	DoF              int
}

const (
	lineSteps   = 200
	lineSettled = 1e-14
)

// FitLine fits a straight line to two or more points that are uncertain in both
// coordinates, by maximum likelihood: York, Evensen, Lopez Martinez and De Basabe
// Delgado, American Journal of Physics 72 (2004) 367, equations 13. The
// uncertainties are those of the points' own; they are not scaled by the
// chi-square. Errors wrap ErrFit: too few points, a point without uncertainty, a
// correlation of 1, all x alike, or no convergence.
func FitLine(points []Pair) (Line, error) {
	if err := checkPairs(points, 2); err != nil {
		return Line{}, err
	}
	b, err := firstSlope(points, true)
	if err != nil {
		return Line{}, err
	}
	for range lineSteps {
		mean, _ := weightedMeans(points, b)
		next, _ := yorkSlope(points, b, mean)
		if math.IsNaN(next) || math.IsInf(next, 0) {
			break
		}
		moved := math.Abs(next - b)
		if b = next; moved > lineSettled*math.Abs(b) {
			continue
		}
		l := Line{DoF: len(points) - 2}
		mean, sum := weightedMeans(points, b)
		_, adjusted := yorkSlope(points, b, mean)
		var at, spread float64
		for i, p := range points {
			at += (mean[0] + adjusted[i]) / p.variance(b) / sum
		}
		for i, p := range points {
			d := mean[0] + adjusted[i] - at
			spread += d * d / p.variance(b)
		}
		l.Slope = Value{b, math.Sqrt(1 / spread)}
		l.Intercept = Value{mean[1] - b*mean[0], math.Sqrt(1/sum + at*at/spread)}
		l.Cov = -at / spread
		l.ChiSquare = chiSquare(points, b, l.Intercept.X)
		return l, nil
	}
	return Line{}, fmt.Errorf("%w: a line does not settle", ErrFit)
}

// FitProportion fits y = slope x to points that are uncertain in both coordinates,
// in the manner of FitLine with the line held through the origin. One point is
// enough; errors are FitLine's.
func FitProportion(points []Pair) (Line, error) {
	if err := checkPairs(points, 1); err != nil {
		return Line{}, err
	}
	b, err := firstSlope(points, false)
	if err != nil {
		return Line{}, err
	}
	for range lineSteps {
		next, adjusted := yorkSlope(points, b, [2]float64{})
		if math.IsNaN(next) || math.IsInf(next, 0) {
			break
		}
		moved := math.Abs(next - b)
		if b = next; moved > lineSettled*math.Abs(b) {
			continue
		}
		spread := 0.0
		for i, p := range points {
			spread += adjusted[i] * adjusted[i] / p.variance(b)
		}
		return Line{Slope: Value{b, math.Sqrt(1 / spread)}, ChiSquare: chiSquare(points, b, 0), DoF: len(points) - 1}, nil
	}
	return Line{}, fmt.Errorf("%w: a line through the origin does not settle", ErrFit)
}

func checkPairs(points []Pair, least int) error {
	if len(points) < least {
		return fmt.Errorf("%w: %d points, at least %d", ErrFit, len(points), least)
	}
	for i, p := range points {
		finite := !math.IsNaN(p.X.X+p.Y.X+p.X.U+p.Y.U) && !math.IsInf(p.X.X+p.Y.X+p.X.U+p.Y.U, 0)
		if !finite || p.X.U < 0 || p.Y.U < 0 || p.X.U+p.Y.U == 0 || !(math.Abs(p.Corr) < 1) {
			return fmt.Errorf("%w: point %d has no usable uncertainty", ErrFit, i+1)
		}
	}
	return nil
}

// firstSlope is where the search begins: a fit that takes all points as alike.
func firstSlope(points []Pair, intercept bool) (float64, error) {
	design, y := make([][]float64, len(points)), make([]float64, len(points))
	one := make([]float64, len(points))
	for i, p := range points {
		design[i], y[i], one[i] = []float64{p.X.X}, p.Y.X, 1
		if intercept {
			design[i] = append(design[i], 1)
		}
	}
	f, err := FitLinear(design, y, one)
	if err != nil {
		return 0, err
	}
	return f.B[0], nil
}

// weightedMeans are York's X bar and Y bar, and the sum of the weights.
func weightedMeans(points []Pair, b float64) (mean [2]float64, sum float64) {
	for _, p := range points {
		w := 1 / p.variance(b)
		sum += w
		mean[0] += w * p.X.X
		mean[1] += w * p.Y.X
	}
	return [2]float64{mean[0] / sum, mean[1] / sum}, sum
}

// yorkSlope is one step of York's iteration about a centre, and the adjusted x of
// each point less the centre's.
func yorkSlope(points []Pair, b float64, centre [2]float64) (next float64, adjusted []float64) {
	var over, under float64
	adjusted = make([]float64, len(points))
	for i, p := range points {
		w := 1 / p.variance(b)
		u, v := p.X.X-centre[0], p.Y.X-centre[1]
		adjusted[i] = w * (u*p.Y.U*p.Y.U + b*v*p.X.U*p.X.U - (b*u+v)*p.Corr*p.X.U*p.Y.U)
		over += w * adjusted[i] * v
		under += w * adjusted[i] * u
	}
	return over / under, adjusted
}

func chiSquare(points []Pair, slope, intercept float64) float64 {
	s := 0.0
	for _, p := range points {
		r := p.Y.X - intercept - slope*p.X.X
		s += r * r / p.variance(slope)
	}
	return s
}
