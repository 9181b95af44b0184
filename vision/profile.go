package vision

import (
	"math"

	"stripgap/calib"
)

// What is left out of the line at each ragged end: half a width, but within
// these bounds in mm.
const (
	endTrimLeast = 0.75
	endTrimMost  = 1.5
)

// profile reduces the traced stations to mean, ends, taper and bow, with the
// uncertainty that edge noise alone gives them. The line through the stations
// clear of the ragged ends is carried to the ends of the whole strip, so that
// taper means end to end.
func (t *traced) profile() (*Profile, bool) {
	trim := math.Max(endTrimLeast, math.Min(endTrimMost, t.c.width/2))
	used := t.c.axis.Half - trim
	half := t.c.axis.Half + t.c.step/2 // the outer stations reach that far
	lo, hi := -t.filmEnd(0), t.filmEnd(1)
	pr := &Profile{}
	var s, y, u []float64
	for _, k := range t.cuts {
		if math.Abs(k.s) > used {
			continue
		}
		st := Station{At: k.s, Centre: t.c.axis.At(k.s), Edges: k.edges, Width: k.width, U: k.u, Dropped: k.dropped}
		if k.dropped == "" || k.width > 0 {
			st.Pixels = [2]calib.PixelPoint{k.frame.at(k.fit.x[0]), k.frame.at(k.fit.x[1])}
		}
		pr.Stations = append(pr.Stations, st)
		if k.dropped == "" {
			s, y, u = append(s, k.s), append(y, k.width), append(u, k.u)
		}
	}
	curve, ok := fitRobust(s, y, 2)
	if !ok {
		return nil, false
	}
	// The mean is over the whole strip: what taper and bow do beyond the stations counts.
	whole := t.moments(lo, hi)
	for i, w := range whole {
		pr.Mean += w * curve.p[i]
	}
	slope, slopeU := straight(s, y, curve.weight)
	pr.Taper = 2 * half * slope
	pr.Bow = -curve.p[2] * half * half
	pr.Ends = [2]End{{Card: t.c.axis.At(half), Width: pr.Mean + pr.Taper/2}, {Card: t.c.axis.At(-half), Width: pr.Mean - pr.Taper/2}}
	noise := max(successive(y, curve), median(u), t.noise)
	variance := 0.0
	for i, a := range whole {
		for k, b := range whole {
			variance += a * b * curve.cov[i][k]
		}
	}
	pr.U = math.Sqrt(variance) * noise * alikeMean / curve.scale
	pr.EndsU = t.endsU(&curve, pr.Mean, lo, hi)
	pr.TaperU = 2 * half * slopeU * noise * alikeSlope
	pr.EndsTaperU = 2 * half * math.Abs(slope-curve.p[1])
	return pr, true
}

// filmEnd is how far in mm from the axis' middle the strip ends: where its stations do,
// or where more film than a ragged end was seen beyond them, where that does.
func (t *traced) filmEnd(end int) float64 {
	if t.beyond[end] > endTrimMost {
		return t.c.axis.Half + t.beyond[end]
	}
	return t.c.axis.Half + t.c.step/2
}

// moments are the means of s^0, s^1 and s^2 between two places of the axis, without
// what is missing there: where nothing was crushed, there is no width.
func (t *traced) moments(lo, hi float64) (m [3]float64) {
	length := 0.0
	add := func(lo, hi, sign float64) {
		length += sign * (hi - lo)
		for k := range m {
			n := float64(k + 1)
			m[k] += sign * (math.Pow(hi, n) - math.Pow(lo, n)) / n
		}
	}
	add(lo, hi, 1)
	for _, g := range t.missing {
		add(g.from, g.to, -1)
	}
	for k := range m {
		m[k] /= length
	}
	return m
}

// endsU is what not knowing better where the strip ends leaves of its mean width
// unknown, mm: an end lies within a station's step, and within what film was seen
// but not traced.
func (t *traced) endsU(curve *robustLine, mean, lo, hi float64) float64 {
	sum := 0.0
	for i, end := range [2]float64{lo, hi} {
		byEnd := (curve.at(end) - mean) / (hi - lo)
		sum += byEnd * byEnd * (t.c.step*t.c.step + t.beyond[i]*t.beyond[i]) / 12 // rectangular, JCGM 100, 4.3.7
	}
	return math.Sqrt(sum)
}

// straight returns the slope of the weighted straight line through the stations
// and its standard uncertainty for independent errors of 1 at weight 1.
func straight(x, y, weight []float64) (slope, u float64) {
	var sw, sx, sy, sxx, sxy float64
	for i, w := range weight {
		sw, sx, sy = sw+w, sx+w*x[i], sy+w*y[i]
	}
	for i, w := range weight {
		dx := x[i] - sx/sw
		sxx += w * dx * dx
		sxy += w * dx * (y[i] - sy/sw)
	}
	return sxy / sxx, 1 / math.Sqrt(sxx)
}

// What neighbouring stations have in common, which their differences do not show,
// multiplies the noise: that of the mean more than that of the slope. Measured on
// rendered photos.
const (
	alikeMean  = 2
	alikeSlope = 1.4
)

// successive returns the standard deviation of one station's own error from the
// differences between neighbours (von Neumann, Annals of Mathematical Statistics
// 12 (1941) 367). The scatter about the line would count the strip's true
// waviness, bow and taper as errors of its mean; between neighbours they cancel.
func successive(y []float64, l robustLine) float64 {
	sum, n := 0.0, 0.0
	for i := 1; i < len(y); i++ {
		if l.weight[i] > 0 && l.weight[i-1] > 0 {
			d := y[i] - y[i-1]
			sum += d * d
			n++
		}
	}
	if n == 0 {
		return l.scale
	}
	return math.Sqrt(sum / n / 2)
}
