package worker

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"stripgap/clearance"
	"stripgap/cmd/internal/pipeline"
)

// order is a task on its way to a reader, as JSON. Go writes a number so that the
// same one comes back. What JSON has no word for, matrices and open limits, is
// taken out of Given and goes beside it.
type order struct {
	Task         pipeline.Task
	Given        pipeline.Given
	Corr         []float64   // of Given.Options.Prior
	Cov          [][]float64 // of each phone
	New, Service *limits
}

// limits are limits whose open side is nil.
type limits struct{ Lo, Hi *float64 }

func newOrder(g pipeline.Given, t pipeline.Task) order {
	o := order{Task: t, Given: g, Corr: elements(g.Options.Prior.Corr),
		New: newLimits(g.Limits.New), Service: newLimits(g.Limits.Service)}
	o.Given.Options.Prior.Corr, o.Given.Limits = nil, pipeline.Limits{}
	o.Given.Phones = slices.Clone(g.Phones)
	for i := range o.Given.Phones {
		o.Cov = append(o.Cov, elements(g.Phones[i].Cov))
		o.Given.Phones[i].Cov = nil
	}
	return o
}

// given puts together again what newOrder took apart.
func (o order) given() pipeline.Given {
	g := o.Given
	g.Options.Prior.Corr = matrix(o.Corr)
	g.Limits = pipeline.Limits{New: o.New.limits(), Service: o.Service.limits()}
	for i := range g.Phones {
		g.Phones[i].Cov = matrix(o.Cov[i])
	}
	return g
}

func newLimits(l *clearance.Limits) *limits {
	if l == nil {
		return nil
	}
	var out limits
	if !math.IsInf(l.Lo, 0) {
		out.Lo = &l.Lo
	}
	if !math.IsInf(l.Hi, 0) {
		out.Hi = &l.Hi
	}
	return &out
}

func (l *limits) limits() *clearance.Limits {
	if l == nil {
		return nil
	}
	out := clearance.Limits{Lo: math.Inf(-1), Hi: math.Inf(1)}
	if l.Lo != nil {
		out.Lo = *l.Lo
	}
	if l.Hi != nil {
		out.Hi = *l.Hi
	}
	return &out
}

// elements lists a matrix row by row; nil stays nil.
func elements(m *mat.SymDense) (out []float64) {
	if m == nil {
		return nil
	}
	n := m.SymmetricDim()
	for i := range n {
		for j := range n {
			out = append(out, m.At(i, j))
		}
	}
	return out
}

func matrix(e []float64) *mat.SymDense {
	if e == nil {
		return nil
	}
	return mat.NewSymDense(int(math.Round(math.Sqrt(float64(len(e))))), e)
}

// taken says that a task has come, before it is begun.
type taken struct{}

// answer is what became of a task, on its way back.
type answer struct {
	Result     pipeline.Result
	Sight      *pipeline.Sight
	PictureErr string
}

func newAnswer(e pipeline.Entry) answer {
	a := answer{Result: e.Result, Sight: e.Sight}
	if e.PictureErr != nil {
		a.PictureErr = e.PictureErr.Error()
	}
	return a
}

func (a answer) entry() pipeline.Entry {
	e := pipeline.Entry{Result: a.Result, Sight: a.Sight}
	if a.PictureErr != "" {
		e.PictureErr = errors.New(a.PictureErr)
	}
	return e
}
