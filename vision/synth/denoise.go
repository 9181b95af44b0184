package synth

// denoise smooths luma among its neighbours that differ by less than a threshold
// and blurs chroma, both by the given strength, 0 to 1. Phones do so before they
// sharpen.
func denoise(pic *picture, strength float64) {
	pic.c[0] = sigmaFilter(pic.c[0], pic.w, pic.h, float32(4+10*strength), float32(strength))
	for ch := 1; ch < 3; ch++ {
		pic.c[ch] = lens{sigma: 2 * strength, magnify: 1}.sample(pic.c[ch], pic.w, pic.h, 0, 0, 1)
	}
}

// sigmaFilter moves each value by strength towards the mean of those of its 8
// neighbours that lie within limit of it. The border stays as it is.
func sigmaFilter(src []float32, w, h int, limit, strength float32) []float32 {
	out := append([]float32(nil), src...)
	near := [8]int{-w - 1, -w, -w + 1, -1, 1, w - 1, w, w + 1}
	for y := 1; y < h-1; y++ {
		for i := y*w + 1; i < (y+1)*w-1; i++ {
			v := src[i]
			var sum, n float32 = 0, 1
			for _, k := range near {
				if d := src[i+k] - v; d < limit && d > -limit {
					sum += d
					n++
				}
			}
			out[i] = v + strength*sum/n
		}
	}
	return out
}
