package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"stripgap/calib"
)

// stereoCase is a pair of cameras over a bench card and a strip, without pixels:
// edges and marks are projected, and noise added.
type stereoCase struct {
	name  string
	lean  [2]float64 // degrees by which each camera leans, across the strip
	turn  [2]float64 // and how far from across, degrees
	tied  bool       // one camera took both
	held  turn       // of the second photo to its stored picture
	curve float64    // of the metal, 1/mm
	rough float64    // mm by which the edges wander, standard deviation
	plane [3]float64 // height mm, slopes
	width float64
}

// size is that of photo i, upright.
func (c stereoCase) size(i int) (w, h int) {
	if i == 1 && c.held.swap {
		return stereoH, stereoW
	}
	return stereoW, stereoH
}

const (
	stereoW, stereoH = 4000, 3000
	stereoF          = 3004.63 // px, 26 mm equivalent by the diagonal (CIPA DCG-001)
	stereoMarkU      = 0.02    // px, what the design reaches for marks
	stereoCurveU     = 0.001   // 1/mm, of the metal's curvature
	stereoCurlU      = 2e-4    // 1/mm, of the card's curl: 0.18 mm at its ends
	stereoBiasU      = 0.1     // px of width: what processing leaves
	stereoEdgeU      = 0.08    // px, of one station's edge; the Cramer-Rao bound is some 0.03
)

var stereoPrior = calib.Prior{F: stereoF, FRel: 0.03, K1SD: 0.05}

// stereoBase is a strip below the card, nearly along it.
func stereoBase() Axis {
	sin, cos := math.Sincos(0.1)
	return Axis{Middle: calib.CardPoint{X: 4, Y: -38}, Dir: calib.CardPoint{X: cos, Y: sin}, Half: 9}
}

// lookAt returns the pose of a camera that leans by lean degrees towards the
// direction at turn degrees, and looks at a point of the card from dist mm.
func lookAt(at calib.CardPoint, dist, lean, turn float64) calib.Pose {
	sl, cl := math.Sincos(lean * math.Pi / 180)
	st, ct := math.Sincos(turn * math.Pi / 180)
	back := [3]float64{sl * ct, sl * st, cl}
	forward := [3]float64{-back[0], -back[1], -back[2]}
	right := [3]float64{1 - forward[0]*forward[0], -forward[0] * forward[1], -forward[0] * forward[2]}
	n := math.Sqrt(right[0]*right[0] + right[1]*right[1] + right[2]*right[2])
	for i := range right {
		right[i] /= n
	}
	var down [3]float64
	for i := range 3 {
		j, k := (i+1)%3, (i+2)%3
		down[i] = forward[j]*right[k] - forward[k]*right[j]
	}
	p := calib.Pose{R: [3][3]float64{right, down, forward}}
	eye := [3]float64{at.X + dist*back[0], at.Y + dist*back[1], dist * back[2]}
	for i, r := range p.R {
		for k := range 3 {
			p.T[i] -= r[k] * eye[k]
		}
	}
	return p
}

// truth draws cameras from the prior and returns the state that is to be found.
func (c stereoCase) truth(r *rand.Rand) stereoState {
	base := stereoBase()
	s := stereoState{plane: c.plane, curve: c.curve + stereoCurveU*r.NormFloat64(), curl: stereoCurlU * r.NormFloat64(), edge: [2][3]float64{{-c.width / 2, 0.02, 0.001}, {c.width / 2, 0.03, 0.0005}}}
	shared := [2]float64{r.NormFloat64(), r.NormFloat64()}
	// 0.4 % of the longer side is calib's prior of the principal point.
	const pp = 0.004 * stereoW
	off := calib.PixelPoint{X: pp * r.NormFloat64(), Y: pp * r.NormFloat64()} // in the sensor's frame
	moved := calib.PixelPoint{X: tiePrincipal * stereoW * r.NormFloat64(), Y: tiePrincipal * stereoW * r.NormFloat64()}
	alike := r.NormFloat64()
	for i := range s.bias {
		s.bias[i] = stereoBiasU * (math.Sqrt(biasAlike)*alike + math.Sqrt(1-biasAlike)*r.NormFloat64())
	}
	aspect := calib.Aspect(0.003 * r.NormFloat64()) // 0.3 % is calib's prior of a print nobody measured
	for i := range s.view {
		f, k := stereoPrior.FRel*r.NormFloat64(), stereoPrior.K1SD*r.NormFloat64()
		lens := calib.PixelPoint{X: pp * r.NormFloat64(), Y: pp * r.NormFloat64()}
		if c.tied { // half of the difference each
			sign := float64(2*i - 1)
			lens = off.Add(moved.Scale(sign / 2))
			f = stereoPrior.FRel*shared[0] + sign*tieFRel/2*r.NormFloat64()*math.Sqrt2
			k = stereoPrior.K1SD*shared[1] + sign*tieK1/2*r.NormFloat64()*math.Sqrt2
		}
		w, h := c.size(i)
		if i == 1 {
			lens = upright(c.held, lens)
		}
		cam := calib.Camera{F: stereoF * math.Exp(f), K1: k, CX: float64(w-1)/2 + lens.X, CY: float64(h-1)/2 + lens.Y}
		// The distance follows the focal length, so that the card keeps its size.
		s.view[i] = &calib.View{Camera: cam, Aspect: aspect, Pose: lookAt(base.Middle.Scale(0.5), 130*math.Exp(f), c.lean[i], 90+c.turn[i])}
	}
	return s
}

// upright undoes turn.vector, as the transpose of its rotation.
func upright(t turn, v calib.PixelPoint) calib.PixelPoint {
	x, y := t.vector(calib.PixelPoint{X: 1}), t.vector(calib.PixelPoint{Y: 1})
	return calib.PixelPoint{X: x.X*v.X + x.Y*v.Y, Y: y.X*v.X + y.Y*v.Y}
}

// observe returns the model of what two photos of s show, and the state where a
// search begins: the views as each photo alone gives them, and a strip on the
// card's face.
func (c stereoCase) observe(t testing.TB, s stereoState, r *rand.Rand) (*stereoModel, stereoState) {
	t.Helper()
	m := &stereoModel{base: stereoBase(), tied: c.tied, curve: c.curve, curveU: stereoCurveU, curlU: stereoCurlU, rough: [2]float64{c.rough, c.rough}}
	places := int(2*m.base.Half/0.5) + 1
	var wander [2][]float64
	for e := range wander {
		m.edges[e] = make([]edgePair, places)
		for range places {
			wander[e] = append(wander[e], c.rough*r.NormFloat64())
		}
	}
	start := stereoState{edge: [2][3]float64{{-c.width / 2}, {c.width / 2}}, curve: c.curve}
	for i, v := range s.view {
		side := stereoSide{prior: stereoPrior, markU: stereoMarkU, biasU: stereoBiasU}
		side.w, side.h = c.size(i)
		if i == 1 {
			side.turn = c.held
		}
		var card []calib.CardPoint
		var img []calib.PixelPoint
		for _, k := range calib.Bench().Marks {
			at := v.Aspect.Place(k.Centre)
			p := mustImage(t, v, at.At(s.curl*at.X*at.X/2))
			p = p.Add(calib.PixelPoint{X: stereoMarkU * r.NormFloat64(), Y: stereoMarkU * r.NormFloat64()})
			side.marks = append(side.marks, MarkFound{Mark: k, Pixel: p})
			card, img = append(card, k.Centre), append(img, p)
		}
		for e := range 2 {
			for n := range places {
				x := 0.5*float64(n) - m.base.Half
				s := s
				s.edge[e][0] += wander[e][n]
				p := mustImage(t, v, s.point(m.base, e, x))
				along := mustImage(t, v, s.point(m.base, e, x+0.01)).Sub(p)
				other := mustImage(t, v, s.point(m.base, 1-e, x)).Sub(p)
				out := calib.PixelPoint{X: -along.Y, Y: along.X}.Scale(1 / along.Norm())
				if out.X*other.X+out.Y*other.Y > 0 {
					out = out.Scale(-1)
				}
				p = p.Add(out.Scale(s.bias[i]/2 + stereoEdgeU*r.NormFloat64()))
				p = p.Add(wider(t, v, &s, m.base, i, e, x))
				m.edges[e][n][i] = edgeSight{p, stereoEdgeU}
			}
		}
		var err error
		// Only where to start: of a curled card it knows nothing.
		if start.view[i], err = calib.FitView(card, img, 10*stereoMarkU, side.w, side.h, stereoPrior); err != nil {
			t.Fatal(err)
		}
		m.side[i] = side
	}
	start.view = oneCard(start.view[0], start.view[1])
	return m, start
}

// wider is the shift of an edge in photo i that a gap between the photos makes,
// found by moving the edge itself.
func wider(t testing.TB, v *calib.View, s *stereoState, base Axis, i, e int, x float64) calib.PixelPoint {
	moved := *s
	moved.edge[e][0] += float64(2*e-1) * float64(2*i-1) * (s.gap[0] + s.gap[1]*x/base.Half) / 4
	return mustImage(t, v, moved.point(base, e, x)).Sub(mustImage(t, v, s.point(base, e, x)))
}

func mustImage(t testing.TB, v *calib.View, p calib.SpacePoint) calib.PixelPoint {
	t.Helper()
	q, ok := v.Image(p)
	if !ok {
		t.Fatal("a place is not seen")
	}
	return q
}

// figures are what a solution is judged by: height, slopes, mean width, taper.
func (m *stereoModel) figures(s stereoState) [5]float64 {
	w := s.widths(m.base)
	return [5]float64{s.plane[0], s.plane[1], s.plane[2], w[0], w[1]}
}

var figureNames = [5]string{"height", "slope along", "slope across", "width", "taper"}

// TestStereoCovarianceAgainstSampling asks that errors over predicted
// uncertainties have unit spread and no bias. 400 draws know the spread to 3.5 %
// (1/sqrt(800)) and the mean to 0.05, so the limits lie three of those away.
func TestStereoCovarianceAgainstSampling(t *testing.T) {
	const draws = 400
	ten := math.Tan(10 * math.Pi / 180)
	for n, c := range []stereoCase{
		{"both sides", [2]float64{16, -16}, [2]float64{0, 0}, true, turn{}, 0, 0, [3]float64{3, 0.05, -0.1}, 2},
		{"level and leaning", [2]float64{1, 20}, [2]float64{0, 25}, true, turn{}, 0, 0, [3]float64{5, -ten, 0.05}, 3},
		{"one held upright", [2]float64{16, -16}, [2]float64{5, 0}, true, turns[6], 0, 0, [3]float64{3, 0.05, -0.1}, 2},
		{"rough, in a shell", [2]float64{14, -18}, [2]float64{0, 0}, true, turn{}, 1.0 / 25, 0.02, [3]float64{2, -0.05, 0.1}, 2},
		{"two phones", [2]float64{12, -18}, [2]float64{20, 10}, false, turn{}, 0, 0, [3]float64{1, ten, 0.1}, 1.5},
	} {
		r := rand.New(rand.NewPCG(25, uint64(n)))
		var mean, square, size [5]float64
		for range draws {
			want := c.truth(r)
			s, solved := c.solved(t, want, r)
			if !solved {
				t.Fatalf("%s: no solution", c.name)
			}
			cov, ok := s.eq.covariance(freeAll, &stereoDelta{})
			if !ok {
				t.Fatalf("%s: no covariance", c.name)
			}
			grad := s.widthGradient(s.model.base.Half)
			a, b := s.model.figures(s.state), s.model.figures(want)
			for k := range a {
				u := math.Sqrt(cov.At(paramPlane+min(k, 2), paramPlane+min(k, 2)))
				if k > 2 {
					u = formU(cov.RawSymmetric().Data, grad[k-3][:])
				}
				z := (a[k] - b[k]) / u
				mean[k] += z / draws
				square[k] += z * z / draws
				size[k] += u / draws
			}
		}
		for k, name := range figureNames {
			spread := math.Sqrt(square[k] - mean[k]*mean[k])
			t.Logf("%-18s %-13s u %.2g, spread/u %.3f, bias/u %+.3f", c.name, name, size[k], spread, mean[k])
			if spread < 0.9 || spread > 1.1 || math.Abs(mean[k]) > 0.15 {
				t.Errorf("%s, %s: spread/u %.3f, bias/u %+.3f", c.name, name, spread, mean[k])
			}
		}
	}
}

// TestStereoDisagreement asks that the difference between two photos of one
// strip has unit spread in units of its uncertainty, in taper, which nothing
// else explains, and that a pair whose tapers differ by five of them is told.
func TestStereoDisagreement(t *testing.T) {
	const draws = 200 // know a spread to 5 % (1/sqrt(400))
	c := stereoCase{"both sides", [2]float64{16, -16}, [2]float64{0, 0}, true, turn{}, 0, 0, [3]float64{3, 0.05, -0.1}, 2}
	r := rand.New(rand.NewPCG(22, 0))
	square, wider := 0.0, 0.0
	for range draws {
		want := c.truth(r)
		z, u := c.disagreement(t, want, r)
		square += z * z / draws
		want.gap[1] = 5 * u
		z, _ = c.disagreement(t, want, r)
		wider += z / draws
	}
	t.Logf("spread %.3f; with 5 u added, mean %.2f", math.Sqrt(square), wider)
	if s := math.Sqrt(square); s < 0.85 || s > 1.15 {
		t.Errorf("spread %.3f, want 1", s)
	}
	if math.Abs(wider-5) > 0.5 {
		t.Errorf("a taper that differs by 5 u is told as %.2f", wider)
	}
}

// disagreement solves a pair and returns how many standard deviations its tapers
// differ, and that deviation in mm at base.Half.
func (c stereoCase) disagreement(t *testing.T, want stereoState, r *rand.Rand) (z, u float64) {
	t.Helper()
	s, ok := c.solved(t, want, r)
	both, ok2 := s.disagreement()
	cov, ok3 := s.eq.covariance(freeGap, &stereoDelta{paramPlane: 1, paramPlane + 1: 1, paramPlane + 2: 1})
	if !ok || !ok2 || !ok3 {
		t.Fatal("no solution")
	}
	return both[1], math.Sqrt(cov.At(paramGap+1, paramGap+1))
}

// solved observes and solves a pair.
func (c stereoCase) solved(t *testing.T, want stereoState, r *rand.Rand) (*stereo, bool) {
	t.Helper()
	m, start := c.observe(t, want, r)
	got, _, err := m.solve(start)
	if err != nil {
		t.Fatal(err)
	}
	got, eq, err := m.solve(got) // as two photos are, from about where they end
	return &stereo{model: *m, state: got, eq: eq}, err == nil
}

// TestStereoSharesAddUp checks that the covariance with the plane held is the sum
// of its groups' shares, and that knowing less never makes a width more certain.
func TestStereoSharesAddUp(t *testing.T) {
	c := stereoCase{"level and leaning", [2]float64{1, 20}, [2]float64{0, 25}, true, turn{}, 0, 0, [3]float64{5, -0.1, 0.05}, 3}
	r := rand.New(rand.NewPCG(23, 0))
	s, ok := c.solved(t, c.truth(r), r)
	if !ok {
		t.Fatal("no solution")
	}
	none := &stereoDelta{}
	flat, ok1 := s.eq.covariance(freeFlat, none)
	height, ok2 := s.eq.covariance(freeHeight, none)
	all, ok3 := s.eq.covariance(freeAll, none)
	if !ok1 || !ok2 || !ok3 {
		t.Fatal("no covariance")
	}
	for k, g := range s.widthGradient(s.model.base.Half) {
		u := func(m *mat.SymDense) float64 { return formU(m.RawSymmetric().Data, g[:]) }
		sum := 0.0
		for group := range groups {
			sum = math.Hypot(sum, u(s.eq.share(flat, group)))
		}
		if math.Abs(sum/u(flat)-1) > 1e-6 {
			t.Errorf("figure %d: shares add up to %g, the whole is %g", k, sum, u(flat))
		}
		if !(u(flat) < u(height) && u(height) < u(all)) {
			t.Errorf("figure %d: u %g with the plane known, %g without its height, %g without its slopes", k, u(flat), u(height), u(all))
		}
	}
}

// BenchmarkStereoSolve is the joint fit alone, 74 edge sights a photo.
func BenchmarkStereoSolve(b *testing.B) {
	c := stereoCase{"both sides", [2]float64{16, -16}, [2]float64{0, 0}, true, turn{}, 0, 0, [3]float64{3, 0.05, -0.1}, 2}
	r := rand.New(rand.NewPCG(24, 0))
	m, start := c.observe(b, c.truth(r), r)
	for b.Loop() {
		if _, _, err := m.solve(start); err != nil {
			b.Fatal(err)
		}
	}
}

// formU is the root of gᵀ C g, with C in its upper half row by row.
func formU(c, g []float64) float64 {
	n, sum := len(g), 0.0
	for i := range n {
		for k := range n {
			sum += g[i] * g[k] * c[min(i, k)*n+max(i, k)]
		}
	}
	return math.Sqrt(sum)
}

// TestTrustMarks: where one photo's marks scatter five times as much as they say, the
// solution shows it of that photo, in the mean of draws; what a curled card moves all
// marks by is no noise.
func TestTrustMarks(t *testing.T) {
	const draws = 20
	c := stereoCase{"both sides", [2]float64{16, -16}, [2]float64{0, 0}, true, turn{}, 0, 0, [3]float64{3, 0.05, -0.1}, 2}
	r := rand.New(rand.NewPCG(26, 0))
	var times [2]float64
	for range draws {
		want := c.truth(r)
		want.curl = 2 * stereoCurlU
		m, start := c.observe(t, want, r)
		for k := range m.side[1].marks {
			p := &m.side[1].marks[k].Pixel
			*p = p.Add(calib.PixelPoint{X: 5 * stereoMarkU * r.NormFloat64(), Y: 5 * stereoMarkU * r.NormFloat64()})
		}
		got, _, err := m.solve(start)
		if err != nil {
			t.Fatal(err)
		}
		s := &stereo{model: *m, state: got}
		if !s.trustMarks() {
			t.Fatal("a mark is not seen")
		}
		for i := range times {
			times[i] += s.model.side[i].markU / stereoMarkU / draws
		}
	}
	t.Logf("the photos' marks are given %.2f and %.2f times their noise", times[0], times[1])
	if times[0] > 1.5 || times[1] < 2 || times[1] > 6 {
		t.Errorf("the photos' marks are given %.2f and %.2f times their noise, want about 1 and up to 5", times[0], times[1])
	}
}
