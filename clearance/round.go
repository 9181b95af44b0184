package clearance

import (
	"errors"
	"fmt"
	"math"

	"stripgap/calib/quantity"
)

// Position is a strip laid with the shaft turned to an angle.
type Position struct {
	Angle float64 // degrees of shaft rotation, from any zero
	Gauged
}

// Round is what strips at several positions of one journal tell of its roundness.
//
// The model: bearing and cap stay, the shaft turns and rests on the far side, so
// the strip between cap and journal meets the whole clearance along one line of
// the bearing, the bearing's bore there less the journal's diameter at that angle.
// A diameter repeats every half turn, so the journal shows as a mean and a second
// harmonic, an ellipse. Like a two-point micrometer this is blind to shapes of odd
// lobes, and it says nothing of the bearing's own roundness, of which the strip
// sees one line only.
type Round struct {
	Range float64 // mm, largest minus smallest clearance as read
	// NoiseRange in mm is the range that a perfectly round journal would show on
	// average by the uncertainty alone.
	NoiseRange float64
	// Chance is the probability of differences as large as these on a round
	// journal. OutOfRound reports that it is below 5 %.
	Chance     float64
	OutOfRound bool
	// Estimate in mm of the journal's largest less its smallest diameter, with the
	// share that noise adds on average taken out, and the interval for the coverage
	// asked for. From two positions, or where Fitted is false, it is a lower bound:
	// both may stand at the same distance from the ellipse's axes.
	Estimate, Lo, Hi float64
	Fitted           bool    // mean and second harmonic were fitted
	LargeAt          float64 // degrees, 0 to 180: where the clearance is largest, so the journal smallest; when Fitted
	// Misfit is the probability of residuals as large as these if the model holds;
	// 1 where no degree of freedom is left. Below 1 % it is doubtful.
	Misfit float64
}

// OutOfRound judges the roundness of one journal from strips at two or more
// positions. Positions that are a half turn apart are one position. Laying is the
// allowance for laying a strip (mm, standard, not negative; see Laying).
func OutOfRound(list []Position, laying float64, c quantity.Coverage) (Round, error) {
	k, err := c.Factor(math.Inf(1))
	if err != nil {
		return Round{}, err
	}
	if err := checkPositions(list, laying); err != nil {
		return Round{}, fmt.Errorf("out of round: %w", err)
	}
	x, u := make([]float64, len(list)), make([]float64, len(list))
	for i, p := range list {
		x[i], u[i] = p.Clearance.X, math.Hypot(p.OwnU(), laying)
	}
	r := Round{Range: spanOf(x), NoiseRange: noiseRange(u), Misfit: 1}
	chi := 0.0
	mean := weightedMean(x, u)
	for i := range x {
		chi += (x[i] - mean) * (x[i] - mean) / (u[i] * u[i])
	}
	r.Chance = quantity.ChiSquareChance(chi, len(x)-1)
	if axes(list) >= 3 {
		r.fit(list, x, u, k)
	} else {
		r.pair(list, x, u, k)
	}
	r.OutOfRound = r.Chance < 0.05
	return r, nil
}

func checkPositions(list []Position, laying float64) error {
	for i, p := range list {
		if err := p.Check(); err != nil {
			return fmt.Errorf("position %d: %w", i+1, err)
		}
		if !finite(p.Angle) {
			return fmt.Errorf("position %d: angle %v: must be a number of degrees", i+1, p.Angle)
		}
	}
	switch {
	case !uncertainty(laying):
		return fmt.Errorf("laying %v mm: must be finite and not negative", laying)
	case axes(list) < 2:
		return errors.New("need strips at two positions of the shaft or more; half a turn apart is the same diameter")
	}
	return nil
}

// sameAxis in degrees: positions nearer than this, as diameters, are one.
const sameAxis = 10.0

// axes counts diameters that stand apart.
func axes(list []Position) int {
	var seen []float64
	for _, p := range list {
		fresh := true
		for _, a := range seen {
			fresh = fresh && math.Abs(math.Remainder(p.Angle-a, 180)) >= sameAxis
		}
		if fresh {
			seen = append(seen, p.Angle)
		}
	}
	return len(seen)
}

// pair estimates the difference between the two diameters, each the mean of the
// strips on it.
func (r *Round) pair(list []Position, x, u []float64, k float64) {
	var group [2][2][]float64 // by diameter: x, u
	for i, p := range list {
		g := 0
		if math.Abs(math.Remainder(p.Angle-list[0].Angle, 180)) >= sameAxis {
			g = 1
		}
		group[g][0], group[g][1] = append(group[g][0], x[i]), append(group[g][1], u[i])
	}
	d := math.Abs(weightedMean(group[0][0], group[0][1]) - weightedMean(group[1][0], group[1][1]))
	du := math.Hypot(weightedU(group[0][1]), weightedU(group[1][1]))
	r.Chance = quantity.ChiSquareChance(d*d/(du*du), 1)
	r.Estimate = math.Sqrt(max(0, d*d-du*du))
	r.Lo, r.Hi = max(0, d-k*du), d+k*du
}

// fit finds mean and second harmonic by weighted least squares. The out of round
// is twice the amplitude. Noise adds to the amplitude's square, on average, the
// variances of both coefficients, which the estimate leaves out.
func (r *Round) fit(list []Position, x, u []float64, k float64) {
	var design [][]float64
	for _, p := range list {
		s, c := math.Sincos(2 * p.Angle * math.Pi / 180)
		design = append(design, []float64{1, c, s})
	}
	f, err := quantity.FitLinear(design, x, u)
	if err != nil { // positions too near to one another for a second harmonic
		r.pair(list, x, u, k)
		return
	}
	r.Misfit = quantity.ChiSquareChance(f.Square, f.DoF)
	a, b := f.B[1], f.B[2]
	caa, cbb, cab := f.Cov.At(1, 1), f.Cov.At(2, 2), f.Cov.At(1, 2)
	r.Chance = quantity.ChiSquareChance((cbb*a*a-2*cab*a*b+caa*b*b)/(caa*cbb-cab*cab), 2)
	size := math.Hypot(a, b)
	r.Estimate = 2 * math.Sqrt(max(0, size*size-caa-cbb))
	// Along the found axis; for no amplitude the larger of both directions.
	along := math.Sqrt(max(caa, cbb))
	if size > 0 {
		along = math.Sqrt(a*a*caa+2*a*b*cab+b*b*cbb) / size
	}
	r.Lo, r.Hi = 2*max(0, size-k*along), 2*(size+k*along)
	r.LargeAt = math.Mod(math.Atan2(b, a)*90/math.Pi+180, 180)
	r.Fitted = true
}

func weightedU(u []float64) float64 {
	var w float64
	for _, v := range u {
		w += 1 / (v * v)
	}
	return 1 / math.Sqrt(w)
}

func weightedMean(x, u []float64) float64 {
	var sum, w float64
	for i := range x {
		sum += x[i] / (u[i] * u[i])
		w += 1 / (u[i] * u[i])
	}
	return sum / w
}

func spanOf(x []float64) float64 {
	lo, hi := x[0], x[0]
	for _, v := range x {
		lo, hi = min(lo, v), max(hi, v)
	}
	return hi - lo
}

// noiseRange is the mean range of independent normal deviates with the standard
// deviations u: the integral of 1 - P(all above t) - P(all below t).
func noiseRange(u []float64) float64 {
	widest := 0.0
	for _, v := range u {
		widest = max(widest, v)
	}
	const steps = 400
	h := 16 * widest / steps
	var sum float64
	for i := range steps {
		t := (float64(i)+0.5)*h - 8*widest
		all, none := 1.0, 1.0
		for _, v := range u {
			all *= below(t / v)
			none *= below(-t / v)
		}
		sum += (1 - all - none) * h
	}
	return sum
}
