package calib

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// The published four pairs and the fifth they imply: direct linear transform
// value of the project's table of reference values (recomputed there to five
// decimals, hence the tolerance).
var (
	publishedCard = []CardPoint{{0, 0}, {85.6, 0}, {85.6, 53.98}, {0, 53.98}}
	publishedImg  = []PixelPoint{{210, 180}, {1790, 260}, {1700, 1190}, {150, 1235}}
)

func TestHomographyPublishedValue(t *testing.T) {
	h, err := FitHomography(publishedCard, publishedImg)
	if err != nil {
		t.Fatal(err)
	}
	p, ok := h.Image(CardPoint{42.8, 26.99})
	if !ok || p.Sub(PixelPoint{1011.12989, 723.04778}).Norm() > 1e-5 {
		t.Errorf("got %v, %v", p, ok)
	}
	// Both frames of those pairs run anticlockwise in numbers, y up against y
	// down, so this is the photo of a mirror.
	if !h.Mirrored() {
		t.Error("not reported as mirrored")
	}
}

// TestExactHomography gets the published value by the closed form of four points.
func TestExactHomography(t *testing.T) {
	h, ok := exactHomography([4]CardPoint(publishedCard), [4]PixelPoint(publishedImg))
	p, seen := h.Image(CardPoint{42.8, 26.99})
	if !ok || !seen || p.Sub(PixelPoint{1011.12989, 723.04778}).Norm() > 1e-5 {
		t.Errorf("got %v, %v, %v", p, ok, seen)
	}
	if _, ok := exactHomography([4]CardPoint(publishedCard), [4]PixelPoint{{0, 0}, {1, 0}, {2, 0}, {1, 1}}); ok {
		t.Error("three pixels on a line accepted")
	}
	if _, ok := exactHomography([4]CardPoint(publishedCard), [4]PixelPoint{{0, 0}, {9, 0}, {0, 9}, {9, 9}}); ok {
		t.Error("bow tie accepted")
	}
}

// TestHomographyHorizon uses w = 1 - x/100: the horizon is the line x = 100.
func TestHomographyHorizon(t *testing.T) {
	h := Homography{1, 0, 0, 0, 1, 0, -0.01, 0, 1}
	for x, want := range map[float64]bool{0: true, 99: true, 100: false, 101: false} {
		if _, ok := h.Image(CardPoint{x, 5}); ok != want {
			t.Errorf("x = %g: seen %v", x, ok)
		}
	}
}

func TestHomographyMirrored(t *testing.T) {
	for _, l := range Layouts() {
		card := markCentres(l)
		cam := pinhole{F: 3000, CX: 1999.5, CY: 1499.5, Dist: 150, Tilt: rad(20), Toward: 1, Roll: math.Pi}
		img := cam.seeAll(card)
		h, err := FitHomography(card, img)
		if err != nil || h.Mirrored() {
			t.Errorf("%s upside down: mirrored %v, %v", l.Name, h.Mirrored(), err)
		}
		for i := range img {
			img[i].X = 3999 - img[i].X
		}
		if h, err = FitHomography(card, img); err != nil || !h.Mirrored() {
			t.Errorf("%s flipped: mirrored %v, %v", l.Name, h.Mirrored(), err)
		}
	}
}

// TestHomographyLeastGeometricError checks the defining property of the fit:
// no small change of any element lowers the summed squared pixel distance.
func TestHomographyLeastGeometricError(t *testing.T) {
	card := markCentres(Bench())
	cam := pinhole{F: 3000, CX: 1999.5, CY: 1499.5, Dist: 120, Tilt: rad(30), Toward: 2}
	img := jitter(cam.seeAll(card), 2, rand.New(rand.NewPCG(1, 1)))
	h, err := FitHomography(card, img)
	if err != nil {
		t.Fatal(err)
	}
	sum := func(h Homography) (s float64) {
		for i := range card {
			p, _ := h.Image(card[i])
			s += math.Pow(p.Sub(img[i]).Norm(), 2)
		}
		return s
	}
	for i := range 8 {
		for _, d := range []float64{1e-6, -1e-6} {
			g := h
			g[i] += d * math.Max(math.Abs(g[i]), 1e-3)
			if sum(g) < sum(h) {
				t.Errorf("element %d %+g: %.12g < %.12g", i, d, sum(g), sum(h))
			}
		}
	}
}

func TestHomographyDegenerate(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	row := []CardPoint{{-38.6, 22.8}, {0, 22.8}, {38.6, 22.8}}
	rowImg := []PixelPoint{{100, 100}, {500, 120}, {900, 140}}
	square := []CardPoint{{0, 0}, {1, 0}, {1, 1}, {0, 1}}
	squareImg := []PixelPoint{{0, 0}, {100, 0}, {100, 100}, {0, 100}}
	cases := []struct {
		name string
		card []CardPoint
		img  []PixelPoint
		want error
	}{
		{"none", nil, nil, ErrFewPoints},
		{"three", row, rowImg, ErrFewPoints},
		{"three on a line and one", append(row[:3:3], CardPoint{0, -22.8}), append(rowImg[:3:3], PixelPoint{510, 700}), ErrDegenerate},
		{"four on a line", append(row[:3:3], CardPoint{10, 22.8}), squareImg, ErrDegenerate},
		{"pixels on a line", square, []PixelPoint{{0, 0}, {1, 1}, {2, 2}, {3, 3}}, ErrDegenerate},
		{"coincident", []CardPoint{{1, 1}, {1, 1}, {1, 1}, {1, 1}}, squareImg, ErrDegenerate},
		{"two places", []CardPoint{{0, 0}, {1, 1}, {0, 0}, {1, 1}}, squareImg, ErrDegenerate},
		{"pixels coincident", square, []PixelPoint{{7, 7}, {7, 7}, {7, 7}, {7, 7}}, ErrDegenerate},
		{"NaN", square, []PixelPoint{{0, 0}, {nan, 0}, {100, 100}, {0, 100}}, ErrBadPoint},
		{"infinite", []CardPoint{{0, 0}, {1, inf}, {1, 1}, {0, 1}}, squareImg, ErrBadPoint},
		// Exchanging two neighbours makes a bow tie: no camera sees a square so.
		{"bow tie", square, []PixelPoint{{0, 0}, {100, 0}, {0, 100}, {100, 100}}, ErrHorizon},
	}
	for _, c := range cases {
		if _, err := FitHomography(c.card, c.img); !errors.Is(err, c.want) {
			t.Errorf("%s: got %v, want %v", c.name, err, c.want)
		}
	}
	if _, err := FitHomography(square, squareImg[:3]); err == nil {
		t.Error("unequal lengths accepted")
	}
}

// TestHomographyAcceptsAnyFour checks that the degeneracy test does not refuse
// usable sets: all subsets of 4 marks of which no three share a row.
func TestHomographyAcceptsAnyFour(t *testing.T) {
	for _, l := range Layouts() {
		all := markCentres(l)
		for _, tilt := range []float64{0, 40} {
			cam := pinhole{F: 3000, CX: 1999.5, CY: 1499.5, Dist: 60, Tilt: rad(tilt), Toward: 1.2}
			for skipTop := range 3 {
				for skipLow := 3; skipLow < 6; skipLow++ {
					var card []CardPoint
					for i, p := range all {
						if i != skipTop && i != skipLow {
							card = append(card, p)
						}
					}
					if _, err := FitHomography(card, cam.seeAll(card)); err != nil {
						t.Errorf("%s without %d and %d at %g deg: %v", l.Name, skipTop, skipLow, tilt, err)
					}
				}
			}
		}
	}
}

func TestRobustFindsOutliers(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	for _, l := range Layouts() {
		card := markCentres(l)
		cam := pinhole{F: 3000, CX: 1999.5, CY: 1499.5, Dist: 150, Tilt: rad(25), Toward: 1}
		for bad := range card {
			img := jitter(cam.seeAll(card), 0.02, r)
			img[bad] = img[bad].Add(PixelPoint{9, -6})
			h, in, err := FitHomographyRobust(card, img, 0.5)
			if err != nil {
				t.Fatal(err)
			}
			for i, ok := range in {
				if ok != (i != bad) {
					t.Errorf("%s, outlier %d: point %d inlier %v", l.Name, bad, i, ok)
				}
			}
			// The left-out mark is predicted within some sigmas of its true place.
			p, _ := h.Image(card[bad])
			if d := p.Sub(cam.see(card[bad].X, card[bad].Y, 0)).Norm(); d > 0.5 {
				t.Errorf("%s: predicted mark %d off by %g px", l.Name, bad, d)
			}
		}
	}
}

func TestRobustRefusals(t *testing.T) {
	card := markCentres(Bench())
	cam := pinhole{F: 3000, CX: 1999.5, CY: 1499.5, Dist: 150, Tilt: rad(25), Toward: 1}
	img := cam.seeAll(card)
	if _, in, err := FitHomographyRobust(card[1:5], img[1:5], 1); err != nil || len(in) != 4 {
		t.Errorf("four points: %v, %v", in, err)
	}
	two := append([]PixelPoint(nil), img...)
	two[0], two[4] = two[0].Add(PixelPoint{30, 0}), two[4].Add(PixelPoint{0, 40})
	if _, _, err := FitHomographyRobust(card, two, 1); !errors.Is(err, ErrNoConsensus) {
		t.Errorf("two outliers of six: %v", err)
	}
	if _, _, err := FitHomographyRobust(card, img, 0); err == nil {
		t.Error("tolerance 0 accepted")
	}
	if _, _, err := FitHomographyRobust(card, img[:5], 1); err == nil {
		t.Error("unequal lengths accepted")
	}
	if _, _, err := FitHomographyRobust(make([]CardPoint, 17), make([]PixelPoint, 17), 1); err == nil {
		t.Error("17 points accepted")
	}
	img[2].X = math.NaN()
	if _, _, err := FitHomographyRobust(card, img, 1); !errors.Is(err, ErrBadPoint) {
		t.Errorf("NaN: %v", err)
	}
	same := make([]PixelPoint, 6)
	if _, _, err := FitHomographyRobust(card, same, 1); !errors.Is(err, ErrDegenerate) {
		t.Errorf("coincident: %v", err)
	}
}

func BenchmarkFitHomography(b *testing.B) {
	card := markCentres(Bench())
	img := jitter(pinhole{F: 3000, CX: 1999.5, CY: 1499.5, Dist: 150, Tilt: 0.3}.seeAll(card), 0.02, rand.New(rand.NewPCG(3, 3)))
	for b.Loop() {
		if _, err := FitHomography(card, img); err != nil {
			b.Fatal(err)
		}
	}
}
