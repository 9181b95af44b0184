package pipeline

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"

	"stripgap/calib"
	"stripgap/cmd/internal/wholefile"
	"stripgap/vision"
)

// Reader reads one photo at a time. Its functions may be replaced, so that
// everything round the measuring can be tried without a photo. A Reader may be
// used by several goroutines at once.
type Reader struct {
	Load    func(path string) (*vision.Photo, error)
	Measure func(*vision.Photo, vision.Options) (*vision.Measurement, error)
	// MeasurePair measures one strip from two photos; only tasks of two need it.
	MeasurePair func(a, b *vision.Photo, o vision.Options) (*vision.Measurement, error)
	// Draw makes the picture that goes with a reading or a refusal, as the
	// bytes of a JPEG file.
	Draw func(*vision.Photo, *vision.Measurement, *Result) ([]byte, error)
	// Sight tells where the card is in that picture, nil where it was not found.
	Sight func(*vision.Photo, *vision.Measurement, *Result) *Sight

	Given
}

// Given is what a Reader is told beside the photos: plain data, so that a reading
// can be handed to another process.
type Given struct {
	Options vision.Options
	Phones  []calib.Phone // a photo by one of these is read with its profile
	Lot     *calib.Lot    // nil: width and relative taper only
	// Temperature of the strips when crushed, degC; nil when not told.
	Temperature *float64
	// Settings replace surface, lot and temperature for photos of a tag, by its
	// bearing.
	Settings map[string]Setting
	Limits   Limits
	// TaperLimit in mm is the taper that must be noticed; 0 for clearance.TaperLimit.
	TaperLimit float64
	Coverage   float64 // k > 0, the coverage factor of expanded uncertainties
	// BarePictures show the photo with what was found and no more: for a page that
	// has the words and the plot beside them.
	BarePictures bool
}

// Task is one photo to read, or two of the same strip, and the file its picture
// goes to; "" for none.
type Task struct {
	Photo, Second, Picture string
	// Setting is what is known of this strip; nil: what the Reader knows.
	Setting *Setting
}

// Setting is what is known of a strip before its photo is read.
type Setting struct {
	Surface     vision.Surface
	Lot         *calib.Lot
	Temperature *float64 // degC; nil when not told
}

// setting is what is known of a task's strip whose photo shows a bearing's tag.
func (r *Reader) setting(t Task, bearing string) Setting {
	if t.Setting != nil {
		return *t.Setting
	}
	if s, ok := r.Settings[bearing]; ok {
		return s
	}
	return Setting{r.Options.Surface, r.Lot, r.Temperature}
}

// Entry is what became of a Task. PictureErr says why the picture could not be
// made or written; the reading stands all the same. Sight goes with the picture.
type Entry struct {
	Result     Result
	Sight      *Sight
	PictureErr error
}

// Sight is where the card's frame lies in a picture of Width by Height pixels:
// PictureFromCard, row by row, maps millimetres on the strip's plane, on the card's
// where no strip was found, to pixels. Lens distortion is left out: it is for
// pointing at, not for measuring.
type Sight struct {
	Width           int        `json:"width"`
	Height          int        `json:"height"`
	PictureFromCard [9]float64 `json:"picture_from_card"`
}

// Refusal codes that do not come from the pixels.
const (
	codeInternal    = "internal-error"
	CodeInterrupted = "interrupted"
)

// Interrupted is the entry of a task that was never begun.
func Interrupted(t Task) Entry {
	return Lost(t, Refusal{Code: CodeInterrupted, Message: "not read, because the program was stopped",
		Remedy: "run the command again"})
}

// Lost is the entry of a task of which nothing came back but why.
func Lost(t Task, why Refusal) Entry {
	return Entry{Result: Result{Photos: t.photos(), Outcome: OutcomeRefused, Refusal: &why}}
}

// Read reads one task. Whatever goes wrong, a fault of the program included,
// becomes a refusal, so that the other photos are still read.
func (r *Reader) Read(t Task) (e Entry) {
	e.Result = Result{Photos: t.photos()}
	defer func() {
		if p := recover(); p != nil {
			e.Result = Result{Photos: t.photos()}
			e.Result.refuse(fmt.Errorf("the program failed on this photo: %v", p))
		}
	}()
	photo, m, err := r.measure(t, &e.Result)
	if photo == nil {
		e.Result.refuse(err)
		// There is nothing to draw on, and the picture of an earlier run would
		// pass for this one's.
		if t.Picture != "" {
			os.Remove(t.Picture)
		}
		return e
	}
	measured(&e.Result, m)
	if err == nil {
		err = r.gauge(&e.Result, m, t)
	}
	if err != nil {
		e.Result.refuse(err)
	} else {
		e.Result.Outcome = OutcomeRead
	}
	e.Result.mustEncode()
	if t.Picture != "" && r.Draw != nil {
		e.PictureErr = r.picture(t.Picture, photo, m, &e.Result)
		if r.Sight != nil && e.PictureErr == nil {
			e.Sight = r.Sight(photo, m, &e.Result)
		}
	}
	photo.Close()
	return e
}

// picture draws and writes the picture of a reading.
func (r *Reader) picture(path string, photo *vision.Photo, m *vision.Measurement, result *Result) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%s: the program failed on this picture: %v", path, p)
		}
	}()
	data, err := r.Draw(photo, m, result)
	if err == nil {
		err = wholefile.Write(path, data)
	}
	if err != nil {
		return fmt.Errorf("%s: the picture could not be written: %w", path, err)
	}
	return nil
}

// refuse makes the result a refusal for the reason of err.
func (r *Result) refuse(err error) {
	r.Outcome = OutcomeRefused
	var why *vision.Refusal
	if errors.As(err, &why) {
		r.Refusal = &Refusal{why.Code, why.Message, why.Remedy}
		return
	}
	r.Refusal = &Refusal{codeInternal, err.Error(), "please report this with the photo"}
}

// mustEncode makes a result that holds a number JSON cannot carry (not finite) a
// refusal: such a number is a fault of the program, never a reading.
func (r *Result) mustEncode() {
	if _, err := json.Marshal(r); err != nil {
		*r = Result{Photos: r.Photos}
		r.refuse(fmt.Errorf("the reading holds a number that is not finite: %w", err))
	}
}
