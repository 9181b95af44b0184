package main

import (
	"fmt"
	"math"
	"slices"
)

// quantile returns the p-quantile, 0 <= p <= 1, of at least one value, straight
// lines between the order statistics: definition 7 of Hyndman and Fan, The
// American Statistician 50 (1996) 361.
func quantile(v []float64, p float64) float64 {
	s := slices.Sorted(slices.Values(v))
	at := p * float64(len(s)-1)
	i := min(int(at), len(s)-1)
	j := min(i+1, len(s)-1)
	return s[i] + (at-float64(i))*(s[j]-s[i])
}

// spread describes deviations. Its numbers have no meaning when N is 0.
type spread struct {
	N              int
	Median, P95    float64 // of the size of the error, percent
	Bias           float64 // median error, percent
	Worst          float64 // signed, percent
	Covered        float64 // percent of expanded intervals that hold the truth
	ZMean, ZSD     float64 // of the normalised error; ZSD needs N of 2
	Above3, Above5 int     // errors above 3 and 5 percent
	Silent         int     // errors above 3 percent that U does not reach
	MedianU        float64 // standard uncertainty, percent
}

// newSpread summarises deviations.
func newSpread(d []deviation) spread {
	s := spread{N: len(d)}
	if s.N == 0 {
		return s
	}
	var size, signed, u []float64
	held := 0
	for _, v := range d {
		e := math.Abs(v.err)
		size, signed, u = append(size, e), append(signed, v.err), append(u, v.u)
		if e > math.Abs(s.Worst) {
			s.Worst = v.err
		}
		if e > 3 {
			s.Above3++
			if !v.covered() {
				s.Silent++
			}
		}
		if e > 5 {
			s.Above5++
		}
		if v.covered() {
			held++
		}
	}
	s.Median, s.P95 = quantile(size, 0.5), quantile(size, 0.95)
	s.Bias, s.MedianU = quantile(signed, 0.5), quantile(u, 0.5)
	s.Covered = share(held, s.N)
	s.ZMean, s.ZSD = meanSD(d)
	return s
}

// meanSD returns the normalised errors' mean and standard deviation (n - 1).
func meanSD(d []deviation) (mean, sd float64) {
	for _, v := range d {
		mean += v.normalised()
	}
	mean /= float64(len(d))
	if len(d) < 2 {
		return mean, 0
	}
	for _, v := range d {
		sd += (v.normalised() - mean) * (v.normalised() - mean)
	}
	return mean, math.Sqrt(sd / float64(len(d)-1))
}

// share returns k of n in percent; n is above 0.
func share(k, n int) float64 { return 100 * float64(k) / float64(n) }

// band names the interval between ascending limits that holds v: "< 1",
// "1 to 2" (its lower limit included) or ">= 2".
func band(v float64, limits ...float64) string {
	i := 0
	for i < len(limits) && v >= limits[i] {
		i++
	}
	switch i {
	case 0:
		return fmt.Sprintf("< %g", limits[0])
	case len(limits):
		return fmt.Sprintf(">= %g", limits[i-1])
	}
	return fmt.Sprintf("%g to %g", limits[i-1], limits[i])
}
