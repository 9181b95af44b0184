package pipeline

import (
	"slices"

	"stripgap/vision"
)

// measured fills a Result with what vision found, whether or not it got to the
// end. The clearance is not vision's business and is added later.
func measured(r *Result, m *vision.Measurement) {
	if m == nil {
		return
	}
	if c := m.Card; c != nil {
		r.Card = &Card{Layout: c.Layout.Name, Serial: c.Serial, Bearing: c.Bearing, PrintChecked: m.Print.Checked(), Thickness: m.Thickness}
		if p := m.Print; p.Checked() {
			r.Card.Print = &Print{p.X, p.Y, p.U}
		}
	}
	if m.PxPerMM > 0 {
		r.Scale = &m.PxPerMM
	}
	for _, c := range m.Checks {
		r.Checks = append(r.Checks, Check(c))
	}
	r.Flags = append(r.Flags, m.Flags...)
	r.Plane = solvedPlane(m.Solved)
	if m.Profile != nil {
		profile(r, m.Profile)
	}
}

// profile copies the width profile.
func profile(r *Result, p *vision.Profile) {
	r.Width = &Width{Mean: p.Mean, U: p.U, Taper: p.Taper, TaperU: p.TaperU}
	for _, e := range p.Ends {
		r.Ends = append(r.Ends, End{Name: e.Name, Card: [2]float64{e.Card.X, e.Card.Y}, Width: e.Width})
	}
	for _, s := range p.Stations {
		r.Profile = append(r.Profile, station(s))
	}
	for _, t := range p.Budget {
		r.Budget = append(r.Budget, Term(t))
	}
}

// station copies a slice. Where an edge was not found there is no width to tell.
func station(s vision.Station) Station {
	out := Station{At: s.At, Dropped: s.Dropped}
	if s.Width > 0 {
		out.Width = &s.Width
	}
	if s.Width > 0 && s.U > 0 {
		out.U = &s.U
	}
	return out
}

// addFlag sets a flag once.
func (r *Result) addFlag(flag string) {
	if !slices.Contains(r.Flags, flag) {
		r.Flags = append(r.Flags, flag)
	}
}
