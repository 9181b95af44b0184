package quantity

import "math"

// Steps returns about n round values from lo to hi > lo, as a plot's axis marks
// them: steps of 1, 2 or 5 times a power of ten, and how many decimals they need.
func Steps(lo, hi float64, n int) (values []float64, decimals int) {
	rough := (hi - lo) / float64(n)
	power := math.Floor(math.Log10(rough))
	step := math.Pow(10, power)
	switch m := rough / step; {
	case m > 5:
		step *= 10
		power++
	case m > 2:
		step *= 5
	case m > 1:
		step *= 2
	}
	for i := math.Ceil(lo / step); i*step <= hi; i++ {
		values = append(values, i*step)
	}
	return values, max(0, int(-power))
}
