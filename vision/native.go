package vision

import (
	"fmt"
	"image"

	"gocv.io/x/gocv"
)

// The functions of this file are the only ones that hand rasters to OpenCV. A
// C++ exception there ends the process, so each checks sizes first, and each
// closes every Mat it makes.

// withMat calls f with the plane as an 8-bit one-channel Mat.
func withMat(p *Plane, f func(gocv.Mat) error) error {
	if p == nil || p.W < 1 || p.H < 1 || len(p.Pix) != p.W*p.H {
		return fmt.Errorf("raster: size does not fit its data")
	}
	m, err := gocv.NewMatFromBytes(p.H, p.W, gocv.MatTypeCV8U, p.Pix)
	if err != nil {
		return err
	}
	defer m.Close()
	return f(m)
}

// apply runs one OpenCV operation from plane to a new plane of w by h pixels.
func apply(p *Plane, w, h int, op func(src gocv.Mat, dst *gocv.Mat)) (*Plane, error) {
	out := NewPlane(w, h)
	err := withMat(p, func(src gocv.Mat) error {
		return withMat(out, func(dst gocv.Mat) error {
			op(src, &dst)
			// It wrote where it was told to unless the size or type did not fit.
			if data, err := dst.DataPtrUint8(); err != nil || &data[0] != &out.Pix[0] {
				return fmt.Errorf("raster: the result is not %d x %d", w, h)
			}
			return nil
		})
	})
	return out, err
}

// resizeArea averages the plane down to w by h pixels (both at most its own).
func resizeArea(p *Plane, w, h int) (*Plane, error) {
	if w < 1 || h < 1 || w > p.W || h > p.H {
		return nil, fmt.Errorf("resize: %d x %d from %d x %d", w, h, p.W, p.H)
	}
	if w == p.W && h == p.H {
		return p, nil
	}
	return apply(p, w, h, func(src gocv.Mat, dst *gocv.Mat) {
		gocv.Resize(src, dst, image.Pt(w, h), 0, 0, gocv.InterpolationArea)
	})
}

// blurGauss blurs with a Gaussian of standard deviation sigma in pixels.
func blurGauss(p *Plane, sigma float64) (*Plane, error) {
	k := 2*int(3*sigma+0.5) + 1
	return apply(p, p.W, p.H, func(src gocv.Mat, dst *gocv.Mat) {
		gocv.GaussianBlur(src, dst, image.Pt(k, k), sigma, sigma, gocv.BorderReplicate)
	})
}

// contour is a closed outline with its place in the tree of outlines; -1 is none.
type contour struct{ next, child, parent int }

// contourTree finds the outlines of what is darker than its neighbourhood of
// block pixels by more than drop grey levels, and calls pick with the tree and
// a reader of one outline's points.
func contourTree(p *Plane, block int, drop float64, pick func(tree []contour, points func(int) []image.Point)) error {
	if block < 3 || block%2 == 0 {
		return fmt.Errorf("threshold: block %d", block)
	}
	return withMat(p, func(src gocv.Mat) error {
		bin := gocv.NewMat()
		defer bin.Close()
		gocv.AdaptiveThreshold(src, &bin, 255, gocv.AdaptiveThresholdMean, gocv.ThresholdBinaryInv, block, float32(drop))
		hierarchy := gocv.NewMat()
		defer hierarchy.Close()
		outlines := gocv.FindContoursWithParams(bin, &hierarchy, gocv.RetrievalTree, gocv.ChainApproxSimple)
		defer outlines.Close()
		n := outlines.Size()
		if n == 0 {
			return nil
		}
		if hierarchy.Cols() != n || hierarchy.Channels() != 4 {
			return fmt.Errorf("contours: hierarchy of %d for %d outlines", hierarchy.Cols(), n)
		}
		tree := make([]contour, n)
		for i := range tree {
			h := hierarchy.GetVeciAt(0, i)
			tree[i] = contour{next: int(h[0]), child: int(h[2]), parent: int(h[3])}
		}
		pick(tree, func(i int) []image.Point {
			v := outlines.At(i) // owned by outlines
			return v.ToPoints()
		})
		return nil
	})
}
