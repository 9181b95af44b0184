package calib

// rig is one camera that took several photos, and what it was in each of them:
// focusing and stabilising change it a little, all but K1.
type rig struct {
	camera Camera
	aspect Aspect // of the one card they all show
	shots  []viewState
}

// startRig takes the camera from the photo that determines its focal length
// best, and fits every photo with that one as its prior, which settles most
// doubts about which way a card leans.
func startRig(shots []Shot, w, h int, prior Prior) (rig, error) {
	var best *View
	for i, s := range shots {
		v, err := FitView(s.Card, s.Image, s.Sigma, w, h, prior)
		if err != nil {
			return rig{}, &ShotError{i, err}
		}
		if best == nil || v.Cov.At(6, 6) < best.Cov.At(6, 6) {
			best = v
		}
	}
	r := rig{camera: best.Camera, aspect: best.Aspect}
	wobble := photoWobble(w, h)
	known := cameraPrior(best.Camera, wobble.widen(cameraCov(best.Cov, 6)))
	known.AspectSD = prior.AspectSD
	for i, s := range shots {
		v, err := FitView(s.Card, s.Image, s.Sigma, w, h, known)
		if err != nil {
			return rig{}, &ShotError{i, err}
		}
		v.Camera.K1 = r.camera.K1
		r.shots = append(r.shots, viewState{v.Camera, v.Pose, r.aspect})
	}
	return r, nil
}

// The parameters of a rig are the camera's ln F, K1, CX and CY and the print's
// aspect, then nine a photo: its pose's six as in View.Cov, and by how much its own ln F, CX and CY
// move against the camera's.
const (
	rigShared = 5
	rigOwn    = 9
)

// cameraColumn is the place in a view's parameters of each of a photo's own.
var cameraColumn = [3]int{6, 8, 9}

// move returns the rig moved by d.
func (r rig) move(d []float64) rig {
	next := rig{shots: make([]viewState, len(r.shots))}
	var shared [ViewUnknowns]float64
	copy(shared[6:], d[:rigShared])
	mean := viewState{camera: r.camera, aspect: r.aspect}.moved(shared)
	next.camera, next.aspect = mean.camera, mean.aspect
	for i, s := range r.shots {
		delta, own := shared, d[rigShared+rigOwn*i:]
		copy(delta[:6], own[:6])
		for k, c := range cameraColumn {
			delta[c] += own[6+k]
		}
		next.shots[i] = s.moved(delta)
		next.shots[i].camera.K1 = next.camera.K1
	}
	return next
}

// rigModel states the fit in units of standard deviations: for each photo two
// rows a point and three for its wobble, then the prior's.
func rigModel(shots []Shot, known priorRows, wobble wobble) model[rig] {
	rows := 5
	for _, s := range shots {
		rows += 2*len(s.Card) + 3
	}
	params := rigShared + rigOwn*len(shots)
	return model[rig]{
		rows: rows, params: params, enough: 1e-10,
		move: rig.move,
		linearise: func(r rig, res, j []float64) bool {
			row := 0
			add := func(value float64) []float64 {
				res[row] = value
				row++
				return j[(row-1)*params : row*params]
			}
			for i, s := range r.shots {
				own := rigShared + rigOwn*i
				if !shots[i].linearise(s, own, add) {
					return false
				}
				for k, v := range wobble.residual(s.camera, r.camera) {
					add(v)[own+6+k] = 1 / wobble[k]
				}
			}
			for i, v := range known.residual(r.camera) {
				copy(add(v), known.weight[i][:])
			}
			add(float64(r.aspect) / known.aspectSD)[4] = 1 / known.aspectSD
			return true
		},
	}
}

// linearise adds the rows of the photo's points; its own parameters begin at
// column own.
func (s Shot) linearise(state viewState, own int, add func(float64) []float64) bool {
	for k, c := range s.Card {
		p, rows, ok := state.imageAndRows(c)
		if !ok {
			return false
		}
		off := p.Sub(s.Image[k])
		for axis, v := range [2]float64{off.X, off.Y} {
			line := add(v / s.Sigma)
			for m, d := range rows[axis] {
				d /= s.Sigma
				if m < 6 {
					line[own+m] = d
				} else {
					line[m-6] = d
				}
			}
			for m, c := range cameraColumn {
				line[own+6+m] = line[c-6]
			}
		}
	}
	return true
}
