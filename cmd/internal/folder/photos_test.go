package folder

import (
	"os"
	"testing"

	"stripgap/clearance/build"
)

// TestTakeAndDrop: a photo tells whether it is new here, and is taken away only as
// long as nothing was noted of it.
func TestTakeAndDrop(t *testing.T) {
	f := opened(t, made(t))
	p, isNew, err := f.TakePhoto("M1.jpg", []byte("one"))
	if err != nil || !isNew || p.Name != "M1.jpg" {
		t.Fatalf("%+v %v %v", p, isNew, err)
	}
	if again, isNew, err := f.TakePhoto("M2.jpg", []byte("one")); err != nil || isNew || again != p {
		t.Errorf("%+v %v %v", again, isNew, err)
	}
	path := f.View().Path("photos/M1.jpg")
	if err := f.DropPhoto(build.Photo{Name: "M1.jpg", SHA256: "another"}); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(path); err != nil {
		t.Error("another photo of the name was taken away")
	}
	if err := f.DropPhoto(p); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("it is still there")
	}
	if err := f.DropPhoto(p); err != nil {
		t.Errorf("dropped twice: %v", err)
	}
	if p, _, err = f.TakePhoto("M1.jpg", []byte("one")); err != nil {
		t.Fatal(err)
	}
	if err := f.Refuse(build.Refused{Photos: []build.Photo{p}, Code: "blurred", Message: "m", Remedy: "r"}); err != nil {
		t.Fatal(err)
	}
	if err := f.DropPhoto(p); err == nil {
		t.Error("a photo that is noted was taken away")
	}
}
