package synth

import (
	"crypto/sha256"
	"encoding/hex"
)

// Render draws the scene and returns the photo, a JPEG file, with its truth. The
// same scene gives the same bytes. Errors wrap ErrScene. A 12-megapixel photo
// needs up to 650 MB while it is drawn.
func Render(s Scene) (photo []byte, truth *Truth, err error) {
	st, err := newStage(&s)
	if err != nil {
		return nil, nil, err
	}
	truth, err = st.truth()
	if err != nil {
		return nil, nil, err
	}
	pic := capture(&s, st.cam, st.light())
	develop(&s.Processing, pic)
	photo, err = encode(&s, pic)
	if err != nil {
		return nil, nil, err
	}
	sum := sha256.Sum256(photo)
	truth.PhotoSHA256 = hex.EncodeToString(sum[:])
	return photo, truth, nil
}
