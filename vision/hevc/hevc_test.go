package hevc

import (
	"errors"
	"os"
	"testing"
)

func TestDecode(t *testing.T) {
	file, err := os.ReadFile("../../testdata/photos/corner.heic")
	if err != nil {
		t.Fatal(err)
	}
	p, err := Decode(file, 160, 128)
	if err != nil {
		t.Fatal(err)
	}
	// BT.601 of (200, 40, 50), in testdata/photos/SOURCE.md: Y = 0.299 R + 0.587 G +
	// 0.114 B = 89.0; Cb = 128 + 0.564 (B - Y) = 106; Cr = 128 + 0.713 (R - Y) = 207.
	for _, c := range []struct {
		name      string
		got, want byte
	}{{"luma", p.Y[15*p.Stride+20], 89}, {"Cb", p.Cb[8*p.ChromaStride+10], 106}, {"Cr", p.Cr[8*p.ChromaStride+10], 207}} {
		if d := int(c.got) - int(c.want); d < -2 || d > 2 {
			t.Errorf("%s %d, want %d", c.name, c.got, c.want)
		}
	}
	for name, bad := range map[string]struct {
		file []byte
		w, h int
	}{
		"another size": {file, 128, 160}, "cut short": {file[:len(file)/2], 160, 128},
		"nothing": {nil, 160, 128}, "too small": {file, 64, 64}, "words": {[]byte("no picture at all"), 160, 128},
	} {
		if _, err := Decode(bad.file, bad.w, bad.h); !errors.Is(err, ErrDamaged) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
