package vision

import "testing"

// TestPairRefusalSaysWhich: a person reads which photo is at fault, and whether the
// other one must be taken again too.
func TestPairRefusalSaysWhich(t *testing.T) {
	blurred, covered := refusals[CodeBlurred], refusals[CodeNoCard]
	for _, c := range []struct {
		why             [2]string
		message, remedy string
		faulty          int
	}{
		{[2]string{CodeBlurred, ""}, "first photo: " + blurred.message, blurred.remedy + "; the second photo will do if strip and card lie as they did", 0},
		{[2]string{"", CodeBlurred}, "second photo: " + blurred.message, blurred.remedy + "; the first photo will do if strip and card lie as they did", 1},
		{[2]string{"", CodeNoCard}, "second photo: " + covered.message, covered.remedy + "; take the first photo again, too", 1},
		{[2]string{CodeNoCard, CodeNoCard}, "both photos: " + covered.message, covered.remedy, 0},
		{[2]string{CodeNoCard, CodeBlurred}, "first photo: " + covered.message + "; second photo: " + blurred.message,
			covered.remedy + "; for the second photo: " + blurred.remedy, 0},
	} {
		s := &stereo{}
		var why [2]*Refusal
		for i, code := range c.why {
			if code != "" {
				why[i] = Refuse(code, "")
			}
		}
		r := s.refused(why)
		if r.Message != c.message || r.Remedy != c.remedy || s.faulty != c.faulty {
			t.Errorf("%v: photo %d, %q, %q", c.why, s.faulty, r.Message, r.Remedy)
		}
	}
	if r := (&stereo{}).refused([2]*Refusal{}); r != nil {
		t.Errorf("two sound photos: %v", r)
	}
}
