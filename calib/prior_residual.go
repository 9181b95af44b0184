package calib

// Residuals returns what the prior says of a camera of a photo of w x h pixels,
// as four residuals: independent, with mean 0 and variance 1 over the cameras
// that the prior expects. They are linear in ln F, K1, CX and CY. Errors are
// those of a prior that FitView would not take.
func (p Prior) Residuals(c Camera, w, h int) ([4]float64, error) {
	rows, err := p.rows(w, h)
	if err != nil {
		return [4]float64{}, err
	}
	return rows.residual(c), nil
}
