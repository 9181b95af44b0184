package calib

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"gonum.org/v1/gonum/mat"

	"stripgap/calib/strictfile"
)

// phoneFormat is a file of phones; a phone takes about 500 bytes.
var phoneFormat = strictfile.Format{What: "a file of phones", MaxBytes: 1 << 20}

// phoneEntry is a profile as it is written. The u are standard uncertainties;
// Correlation holds those of f with k1, f cx, f cy, k1 cx, k1 cy and cx cy.
type phoneEntry struct {
	Make        string    `toml:"make"`
	Model       string    `toml:"model"`
	FocalMM     float64   `toml:"focal_mm,omitempty"`
	Focal35MM   float64   `toml:"focal_35mm,omitempty"`
	Width       int       `toml:"width_px"`
	Height      int       `toml:"height_px"`
	Photos      int       `toml:"photos"`
	F           float64   `toml:"f_px"`
	FU          float64   `toml:"f_u_px"`
	K1          float64   `toml:"k1"`
	K1U         float64   `toml:"k1_u"`
	CX          float64   `toml:"cx_px"`
	CXU         float64   `toml:"cx_u_px"`
	CY          float64   `toml:"cy_px"`
	CYU         float64   `toml:"cy_u_px"`
	Correlation []float64 `toml:"correlation"`
}

// phoneKeys are the keys every entry must have.
var phoneKeys = []string{"make", "model", "width_px", "height_px", "photos", "f_px", "f_u_px", "k1", "k1_u",
	"cx_px", "cx_u_px", "cy_px", "cy_u_px", "correlation"}

const phoneFileHead = `# Phones' cameras, learnt from photos of a bench card. Figures ending in _u and
# _u_px are standard uncertainties; correlation is that of f with k1, f cx, f cy,
# k1 cx, k1 cy and cx cy. Pixels count in the photo as stored, not turned upright.

`

// FormatPhones returns the file that ParsePhones reads. A profile must have its
// covariance; one without is a programmer's mistake and panics.
func FormatPhones(phones []Phone) ([]byte, error) {
	var doc struct {
		Phone []phoneEntry `toml:"phone"`
	}
	for _, p := range phones {
		prior := cameraPrior(p.Camera, p.Cov)
		e := phoneEntry{
			Make: p.Key.Make, Model: p.Key.Model, FocalMM: p.Key.FocalMM, Focal35MM: p.Key.Focal35MM,
			Width: p.Key.Width, Height: p.Key.Height, Photos: p.Photos,
			F: prior.F, FU: prior.F * prior.FRel, K1: prior.K1, K1U: prior.K1SD,
			CX: prior.Principal.X, CXU: prior.CXSD, CY: prior.Principal.Y, CYU: prior.CYSD,
		}
		for i := range 4 {
			for k := i + 1; k < 4; k++ {
				e.Correlation = append(e.Correlation, prior.Corr.At(i, k))
			}
		}
		doc.Phone = append(doc.Phone, e)
	}
	text, err := toml.Marshal(doc)
	if err != nil {
		return nil, fmt.Errorf("phones: %w", err)
	}
	return append([]byte(phoneFileHead), text...), nil
}

// ParsePhones reads a file of phones, one [[phone]] table each, as FormatPhones
// writes it; a file without any is none. file names the data in errors, which
// read file:line:column. Refused are unknown, repeated or missing keys,
// impossible values, two entries for the same photos, and data over 1 MiB.
func ParsePhones(data []byte, file string) ([]Phone, error) {
	var doc struct {
		Phone []phoneEntry `toml:"phone"`
	}
	at, err := phoneFormat.Decode(data, file, &doc)
	if err != nil {
		return nil, err
	}
	var phones []Phone
	for i, e := range doc.Phone {
		p, key, err := e.phone()
		for _, k := range phoneKeys {
			if !at.Has("phone", i, k) {
				key, err = k, errors.New("missing")
				break
			}
		}
		if err == nil {
			if _, twice := FindPhone(phones, p.Key); twice {
				key, err = "model", errors.New("the same phone, lens and size stand above; delete one")
			}
		}
		if err != nil {
			return nil, fmt.Errorf("%s: phone %d: %s: %w", at.Of("phone", i, key), i+1, key, err)
		}
		phones = append(phones, p)
	}
	return phones, nil
}

// phone converts an entry; with an error it names the key at fault.
func (e phoneEntry) phone() (p Phone, key string, err error) {
	for _, t := range []struct{ key, text string }{{"make", e.Make}, {"model", e.Model}} {
		if strings.TrimSpace(t.text) == "" {
			return p, t.key, errors.New("empty")
		}
	}
	for _, n := range []struct {
		key   string
		value float64
		least float64
	}{
		{"focal_mm", e.FocalMM, 0}, {"focal_35mm", e.Focal35MM, 0},
		{"width_px", float64(e.Width), 1}, {"height_px", float64(e.Height), 1},
		{"photos", float64(e.Photos), fewestShots},
		{"f_px", e.F, least}, {"f_u_px", e.FU, least}, {"k1", e.K1, math.Inf(-1)}, {"k1_u", e.K1U, least},
		{"cx_px", e.CX, math.Inf(-1)}, {"cx_u_px", e.CXU, least}, {"cy_px", e.CY, math.Inf(-1)}, {"cy_u_px", e.CYU, least},
	} {
		if math.IsInf(n.value, 0) || !(n.value >= n.least) {
			return p, n.key, fmt.Errorf("%v is not possible", n.value)
		}
	}
	corr, err := e.correlations()
	if err != nil {
		return p, "correlation", err
	}
	p = Phone{
		Key:    PhoneKey{e.Make, e.Model, e.FocalMM, e.Focal35MM, e.Width, e.Height},
		Camera: Camera{F: e.F, CX: e.CX, CY: e.CY, K1: e.K1}, Photos: e.Photos, Cov: corr,
	}
	sd := [4]float64{e.FU / e.F, e.K1U, e.CXU, e.CYU}
	for i := range 4 {
		for k := i; k < 4; k++ {
			p.Cov.SetSym(i, k, p.Cov.At(i, k)*sd[i]*sd[k])
		}
	}
	return p, "", nil
}

// least stands for any positive number where 0 would be none.
const least = math.SmallestNonzeroFloat64

// correlations fills the 4 x 4 matrix from its upper triangle.
func (e phoneEntry) correlations() (*mat.SymDense, error) {
	const n = 6
	if len(e.Correlation) != n {
		return nil, fmt.Errorf("%d numbers, must be %d", len(e.Correlation), n)
	}
	c := mat.NewSymDense(4, nil)
	next := 0
	for i := range 4 {
		c.SetSym(i, i, 1)
		for k := i + 1; k < 4; k++ {
			if v := e.Correlation[next]; !(math.Abs(v) < 1) {
				return nil, fmt.Errorf("%v lies outside -1 to 1", v)
			}
			c.SetSym(i, k, e.Correlation[next])
			next++
		}
	}
	if _, err := choleskyOfCorrelations(c); err != nil {
		return nil, err
	}
	return c, nil
}
