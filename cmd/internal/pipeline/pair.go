package pipeline

import (
	"errors"

	"stripgap/vision"
)

// Plane is where two photos found the strip: the height of its middle above the
// card's face in mm, and its rise per mm along it (positive: the first end is
// higher) and across it (positive: the side 90 degrees anticlockwise of the
// first end's direction is higher), each with its standard uncertainty.
type Plane struct {
	Height  float64 `json:"height_mm"`
	HeightU float64 `json:"height_u_mm"`
	Along   float64 `json:"along"`
	AlongU  float64 `json:"along_u"`
	Across  float64 `json:"across"`
	AcrossU float64 `json:"across_u"`
}

// solvedPlane copies what two photos found; nil for one.
func solvedPlane(s *vision.SolvedPlane) *Plane {
	if s == nil {
		return nil
	}
	return &Plane{Height: s.Height, HeightU: s.U.Height,
		Along: s.Along, AlongU: s.U.Along, Across: s.Across, AcrossU: s.U.Across}
}

// Pairs makes tasks of two photos each, in the order given: the first and
// second, the third and fourth. ok is false when one is left over.
func Pairs(photos []string) (tasks []Task, ok bool) {
	if len(photos)%2 != 0 {
		return nil, false
	}
	for i := 0; i < len(photos); i += 2 {
		tasks = append(tasks, Task{Photo: photos[i], Second: photos[i+1]})
	}
	return tasks, true
}

// Repeated reports whether args name a photo more than once. Collect would list
// it once, and the photos behind it would fall into other pairs than meant.
func Repeated(args []string) bool {
	n := 0
	for _, a := range args {
		photos, _ := Collect([]string{a})
		n += len(photos)
	}
	all, _ := Collect(args)
	return len(all) < n
}

// photos are the photos of a task, one or two.
func (t Task) photos() []string {
	if t.Second == "" {
		return []string{t.Photo}
	}
	return []string{t.Photo, t.Second}
}

// measure loads and measures a task's photo, or both of a pair, and tells in out
// when it was taken and where the camera was known from. The photo it returns is the
// one to draw on, which a refusal is about, nil where one could not be loaded.
func (r *Reader) measure(t Task, out *Result) (*vision.Photo, *vision.Measurement, error) {
	first, err := r.Load(t.Photo)
	if t.Second == "" {
		if err != nil {
			return nil, nil, err
		}
		o, camera := r.options(t, first)
		out.Taken, out.Camera = first.Exif.Taken, camera
		m, err := r.Measure(first, o)
		return first, m, err
	}
	if err != nil {
		return nil, nil, ofPhoto("first photo: ", err)
	}
	second, err := r.Load(t.Second)
	if err != nil {
		return nil, nil, ofPhoto("second photo: ", err)
	}
	o, camera := r.options(t, first, second)
	out.Taken, out.Camera = first.Exif.Taken, camera
	m, err := r.MeasurePair(first, second, o)
	if m != nil && m.OfSecond {
		first.Close()
		return second, m, err
	}
	second.Close()
	return first, m, err
}

// ofPhoto says which of two photos a refusal is about.
func ofPhoto(which string, err error) error {
	var why *vision.Refusal
	if !errors.As(err, &why) {
		return err
	}
	named := *why
	named.Message = which + named.Message
	return &named
}
