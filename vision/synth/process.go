package synth

import "math"

// develop turns linear light into luma and two chroma planes, 0 to 255, in
// place: tone, noise reduction, then sharpening of the luma.
func develop(p *Processing, pic *picture) {
	tone := newTone(p)
	for i := range pic.c[0] {
		r, g, b := tone.at(pic.c[0][i]), tone.at(pic.c[1][i]), tone.at(pic.c[2][i])
		// JFIF's luma and chroma (ITU-R BT.601 weights, full range).
		y := 0.299*r + 0.587*g + 0.114*b
		pic.c[0][i], pic.c[1][i], pic.c[2][i] = y, 128+(b-y)/1.772, 128+(r-y)/1.402
	}
	if p.Denoise > 0 {
		denoise(pic, p.Denoise)
	}
	if p.Sharpen > 0 {
		soft := lens{sigma: p.SharpenRadius, magnify: 1}.sample(pic.c[0], pic.w, pic.h, 0, 0, 1)
		for i, s := range soft {
			pic.c[0][i] += float32(p.Sharpen) * (pic.c[0][i] - s)
		}
	}
}

// tone maps linear light, clipped to 0..1, to displayed values 0..255 through a
// table.
type tone []float32

const toneSteps = 1 << 16

// newTone tabulates the curve of a scene that Validate passed.
func newTone(p *Processing) tone {
	curve, err := p.Response.curve()
	if err != nil {
		panic(err)
	}
	lift := p.Response.Lift
	t := make(tone, toneSteps+1)
	for i := range t {
		v := curve(float64(i) / toneSteps)
		v += p.Curve * (v*v*(3-2*v) - v)
		t[i] = float32(255 * (lift + (1-lift)*v))
	}
	return t
}

func (t tone) at(v float32) float32 {
	return t[int(min(max(v, 0), 1)*toneSteps+0.5)]
}

// encodeSRGB is the transfer function of IEC 61966-2-1, both ranges 0 to 1.
func encodeSRGB(v float64) float64 {
	if v <= 0.0031308 {
		return 12.92 * v
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}
