package bench

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"mime"
	"mime/multipart"
	"strconv"
	"strings"

	"stripgap/calib"
	"stripgap/vision"
)

// form is a photo as a page sends it. What the file is called there is not looked
// at.
type form struct {
	bearing  string
	position *float64 // degrees round the journal
	other    string   // the held photo that this one is the other side of
	photo    []byte
}

// Bounds of a form, in bytes.
const (
	maxForm  = vision.MaxFileBytes + 64<<10
	maxField = 256
)

// errForm is a form that no page of ours sends.
var errForm = errors.New("the form is not as it should be")

// parseForm reads a multipart form (RFC 7578) of which each field may come once.
// It reads no more than maxForm and writes nothing.
func parseForm(contentType string, body io.Reader) (form, error) {
	var f form
	kind, params, err := mime.ParseMediaType(contentType)
	if err != nil || kind != "multipart/form-data" || params["boundary"] == "" {
		return f, fmt.Errorf("%w: it is %q, not a multipart form", errForm, kind)
	}
	parts := multipart.NewReader(io.LimitReader(body, maxForm), params["boundary"])
	seen := map[string]bool{}
	for {
		p, err := parts.NextRawPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return f, err
		}
		name := p.FormName()
		if seen[name] {
			return f, fmt.Errorf("%w: %.40q comes twice", errForm, name)
		}
		seen[name] = true
		if err := f.take(name, p); err != nil {
			return f, err
		}
	}
	if f.bearing == "" || !seen["photo"] {
		return f, fmt.Errorf("%w: it needs a bearing and a photo", errForm)
	}
	return f, nil
}

// take reads one field.
func (f *form) take(name string, r io.Reader) error {
	if name == "photo" {
		data, err := io.ReadAll(io.LimitReader(r, vision.MaxFileBytes+1))
		f.photo = data
		return err
	}
	text, err := io.ReadAll(io.LimitReader(r, maxField+1))
	if err != nil {
		return err
	}
	if len(text) > maxField {
		return fmt.Errorf("%w: %.40q is too long", errForm, name)
	}
	switch name {
	case "bearing":
		f.bearing = string(text)
	case "other":
		f.other = string(text)
	case "position":
		a, err := strconv.ParseFloat(string(text), 64)
		if err != nil || math.IsNaN(a) || math.IsInf(a, 0) {
			return fmt.Errorf("%w: the position is no number of degrees", errForm)
		}
		f.position = &a
	default:
		return fmt.Errorf("%w: it has no field %.40q", errForm, name)
	}
	return nil
}

// correction is where a person says the strip lies, in card millimetres.
type correction struct {
	Zone *[4]float64    `json:"zone,omitempty"` // x0, y0, x1, y1
	Ends *[2][2]float64 `json:"ends,omitempty"` // one end and the other
}

// maxPlace is beyond any strip beside a card, mm.
const maxPlace = 1000

func parseCorrection(r io.Reader) (c correction, err error) {
	d := json.NewDecoder(io.LimitReader(r, 4<<10))
	d.DisallowUnknownFields()
	if err := d.Decode(&c); err != nil {
		return c, fmt.Errorf("%w: %w", errForm, err)
	}
	var all []float64
	if z := c.Zone; z != nil {
		if all = append(all, z[:]...); z[0] >= z[2] || z[1] >= z[3] {
			return c, fmt.Errorf("%w: the zone is empty", errForm)
		}
	}
	if e := c.Ends; e != nil {
		all = append(all, e[0][0], e[0][1], e[1][0], e[1][1])
		const least = 1.0 // mm
		if math.Hypot(e[0][0]-e[1][0], e[0][1]-e[1][1]) < least {
			return c, fmt.Errorf("%w: the ends are at one place", errForm)
		}
	}
	if len(all) == 0 {
		return c, fmt.Errorf("%w: it corrects nothing", errForm)
	}
	for _, v := range all {
		if !(math.Abs(v) <= maxPlace) {
			return c, fmt.Errorf("%w: %v mm is no place beside a card", errForm, v)
		}
	}
	return c, nil
}

// apply puts what a person says into what a reader is told.
func (c correction) apply(o *vision.Options) {
	at := func(p [2]float64) calib.CardPoint { return calib.CardPoint{X: p[0], Y: p[1]} }
	if z := c.Zone; z != nil {
		o.Zone = &vision.Zone{Min: at([2]float64{z[0], z[1]}), Max: at([2]float64{z[2], z[3]})}
	}
	if e := c.Ends; e != nil {
		o.Ends = &[2]calib.CardPoint{at(e[0]), at(e[1])}
	}
}

// parseReason reads {"reason": "..."}.
func parseReason(r io.Reader) (reason string, ok bool) {
	var in struct {
		Reason string `json:"reason"`
	}
	d := json.NewDecoder(io.LimitReader(r, 4<<10))
	d.DisallowUnknownFields()
	err := d.Decode(&in)
	return in.Reason, err == nil && strings.TrimSpace(in.Reason) != ""
}
