package vision

import "math"

// maxUnknowns is the largest least-squares problem of this package's inner fits.
const maxUnknowns = 10

// normal accumulates the normal equations of a small weighted least-squares fit.
type normal struct {
	n int
	a [maxUnknowns][maxUnknowns]float64 // lower half
	b [maxUnknowns]float64
	// rr is the weighted sum of squared residuals before the step.
	rr float64
}

// add adds one equation: row j (n long) times the step equals r, with weight w.
// Most rows meet only a few of the unknowns.
func (q *normal) add(j *[maxUnknowns]float64, r, w float64) {
	var met [maxUnknowns]int
	m := 0
	for i, v := range j[:q.n] {
		if v != 0 {
			met[m] = i
			m++
		}
	}
	for a, i := range met[:m] {
		wj := w * j[i]
		row := &q.a[i]
		for _, k := range met[:a+1] {
			row[k] += wj * j[k]
		}
		q.b[i] += wj * r
	}
	q.rr += w * r * r
}

// eliminate solves for the last unknown, whatever the others turn out to be, and
// drops it (Schur's complement). It must be determined.
func (q *normal) eliminate() {
	q.n--
	k := q.n
	for i := range k {
		c := q.a[k][i] / q.a[k][k]
		for j := 0; j <= i; j++ {
			q.a[i][j] -= c * q.a[k][j]
		}
		q.b[i] -= c * q.b[k]
	}
	q.rr -= q.b[k] * q.b[k] / q.a[k][k]
}

// hold makes the solution's unknown k equal to v.
func (q *normal) hold(k int, v float64) {
	for i := range q.n {
		a := &q.a[max(i, k)][min(i, k)]
		q.b[i] -= *a * v
		*a = 0
	}
	q.a[k][k], q.b[k] = 1, v
}

// promised returns by how much the step x lowers the sum of squares, to second order.
func (q *normal) promised(x *[maxUnknowns]float64) float64 {
	s := 0.0
	for i := range q.n {
		s += 2 * q.b[i] * x[i]
		for k := range q.n {
			s -= x[i] * q.a[max(i, k)][min(i, k)] * x[k]
		}
	}
	return s
}

// weaken makes every equation's variance so many times as large.
func (q *normal) weaken(times float64) {
	for i := range q.n {
		for j := 0; j <= i; j++ {
			q.a[i][j] /= times
		}
		q.b[i] /= times
	}
	q.rr /= times
}

// join adds the equations of o, which has the same unknowns.
func (q *normal) join(o *normal) {
	for i := range q.n {
		for j := 0; j <= i; j++ {
			q.a[i][j] += o.a[i][j]
		}
		q.b[i] += o.b[i]
	}
	q.rr += o.rr
}

// factor is the Cholesky factor of normal equations.
type factor struct {
	n int
	l [maxUnknowns][maxUnknowns]float64
}

// factorise fails when the equations do not determine every unknown.
func (q *normal) factorise() (f factor, ok bool) {
	f.n = q.n
	for i := range q.n {
		for j := 0; j <= i; j++ {
			s := q.a[i][j]
			for k := range j {
				s -= f.l[i][k] * f.l[j][k]
			}
			if i != j {
				f.l[i][j] = s / f.l[j][j]
				continue
			}
			if !(s > 1e-12*q.a[i][i]) {
				return f, false
			}
			f.l[i][i] = math.Sqrt(s)
		}
	}
	return f, true
}

// solve returns the solution for the right side b.
func (f *factor) solve(b [maxUnknowns]float64) [maxUnknowns]float64 {
	for i := range f.n {
		for k := range i {
			b[i] -= f.l[i][k] * b[k]
		}
		b[i] /= f.l[i][i]
	}
	for i := f.n - 1; i >= 0; i-- {
		for k := i + 1; k < f.n; k++ {
			b[i] -= f.l[k][i] * b[k]
		}
		b[i] /= f.l[i][i]
	}
	return b
}

// inverse returns column i of the inverse of the normal matrix.
func (f *factor) inverse(i int) [maxUnknowns]float64 {
	var e [maxUnknowns]float64
	e[i] = 1
	return f.solve(e)
}

// fitted returns the sum of squares after the linear step x.
func (q *normal) fitted(x [maxUnknowns]float64) float64 {
	s := q.rr
	for i := range q.n {
		s -= q.b[i] * x[i]
	}
	return math.Max(s, 0)
}
