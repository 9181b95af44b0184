package report

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strings"

	"stripgap/calib"
	"stripgap/calib/quantity"
)

// The residual plot's size and margins in its own units, about pixels.
const (
	areaW, areaH         = 720.0, 420.0
	areaLeft, areaRight  = 70.0, 20.0
	areaTop, areaBottom  = 64.0, 56.0
	areaInner, areaTicks = areaW - areaLeft - areaRight, 6
)

// AreaPlot draws how far each point of a lesson lies from the area learnt, in per
// cent, as an SVG file: against the gap, or for an unused strand photo by photo.
// Bars are two standard uncertainties of a point, the grey band two of the area.
func AreaPlot(name string, l calib.AreaLesson) []byte {
	p := newAreaPlot(l)
	heading := fmt.Sprintf("Lot %s: section area %s mm²", name, areaText(l.Area))
	fmt.Fprintf(&p.out, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" font-family="sans-serif" font-size="13">
<rect width="%g" height="%g" fill="white"/>
<text x="%g" y="24" font-size="16">%s</text>
<text x="%g" y="44">%s; %s</text>
`, areaW, areaH, areaW, areaH, areaLeft, escaped(heading), areaLeft, escaped(l.How), escaped(l.Agreement()))
	p.frame()
	for i, q := range l.Points {
		p.point(p.place(i, q), 100*l.Residual(q), 100*quantity.DefaultK*q.Area.U/l.Area.X, q)
	}
	if len(l.Points) == 0 {
		fmt.Fprintf(&p.out, `<text x="%g" y="%g" text-anchor="middle">no points: the area was stated</text>`+"\n", areaLeft+areaInner/2, p.y(0)-8)
	}
	p.out.WriteString("</svg>\n")
	return p.out.Bytes()
}

// areaText prints an area with its expanded uncertainty, k = 2.
func areaText(a quantity.Value) string {
	x, u := quantity.Round(a.X, quantity.DefaultK*a.U)
	return x + " ± " + u
}

// areaPlot is the plot on the way.
type areaPlot struct {
	out    bytes.Buffer
	lesson calib.AreaLesson
	strand bool    // by photo, not by gap
	lo, hi float64 // of the abscissa
	reach  float64 // of the ordinate to both sides, %
}

func newAreaPlot(l calib.AreaLesson) *areaPlot {
	p := &areaPlot{lesson: l, lo: math.Inf(1), hi: math.Inf(-1)}
	p.strand = len(l.Points) == 0 || l.Points[0].Gap == 0
	p.reach = 100 * quantity.DefaultK * l.Area.U / l.Area.X
	for i, q := range l.Points {
		x := p.place(i, q)
		p.lo, p.hi = math.Min(p.lo, x), math.Max(p.hi, x)
		p.reach = math.Max(p.reach, 100*(math.Abs(l.Residual(q))+quantity.DefaultK*q.Area.U/l.Area.X))
	}
	if len(l.Points) == 0 {
		p.lo, p.hi = 0, 1
	}
	margin := math.Max(0.08*(p.hi-p.lo), 0.05*math.Abs(p.hi))
	if p.strand {
		margin = 0.5
	}
	p.lo, p.hi, p.reach = p.lo-margin, p.hi+margin, 1.1*p.reach
	return p
}

// place is a point's abscissa: its gap in mm, or its number from 1.
func (p *areaPlot) place(i int, q calib.LessonPoint) float64 {
	if p.strand {
		return float64(i + 1)
	}
	return q.Gap
}

func (p *areaPlot) x(v float64) float64 { return areaLeft + areaInner*(v-p.lo)/(p.hi-p.lo) }

func (p *areaPlot) y(percent float64) float64 {
	half := (areaH - areaTop - areaBottom) / 2
	return areaTop + half*(1-percent/p.reach)
}

// frame draws the band, the axes and their figures.
func (p *areaPlot) frame() {
	band := 100 * quantity.DefaultK * p.lesson.Area.U / p.lesson.Area.X
	right, bottom := areaW-areaRight, areaH-areaBottom
	fmt.Fprintf(&p.out, `<rect x="%g" y="%.1f" width="%g" height="%.1f" fill="#dddddd"/>`+"\n", areaLeft, p.y(band), areaInner, p.y(-band)-p.y(band))
	fmt.Fprintf(&p.out, `<rect x="%g" y="%g" width="%g" height="%g" fill="none" stroke="black"/>`+"\n", areaLeft, areaTop, areaInner, bottom-areaTop)
	step := niceStep(2 * p.reach / areaTicks)
	for v := math.Ceil(-p.reach/step) * step; v <= p.reach; v += step {
		fmt.Fprintf(&p.out, `<path d="M%g %.1fh%g" stroke="#999999" stroke-dasharray="%s"/><text x="%g" y="%.1f" text-anchor="end">%s</text>`+"\n",
			areaLeft, p.y(v), areaInner, dashes(v), areaLeft-6, p.y(v)+4, tick(v, step))
	}
	label := "gap, mm"
	switch {
	case len(p.lesson.Points) == 0:
		label = ""
	case p.strand:
		label = "photo"
	default:
		step := niceStep((p.hi - p.lo) / areaTicks)
		for v := math.Ceil(p.lo/step) * step; v <= p.hi; v += step {
			fmt.Fprintf(&p.out, `<path d="M%.1f %gv5" stroke="black"/><text x="%.1f" y="%g" text-anchor="middle">%s</text>`+"\n",
				p.x(v), bottom, p.x(v), bottom+20, tick(v, step))
		}
	}
	fmt.Fprintf(&p.out, `<text x="%g" y="%g" text-anchor="middle">%s</text>`+"\n", (areaLeft+right)/2, areaH-12, label)
	fmt.Fprintf(&p.out, `<text transform="translate(18 %g) rotate(-90)" text-anchor="middle">area against the whole, %%</text>`+"\n", (areaTop+bottom)/2)
}

// dashes leaves the line of nought whole.
func dashes(v float64) string {
	if math.Abs(v) < 1e-9 {
		return "none"
	}
	return "2 4"
}

// point draws one point with its bar; one further off than three of its standard
// uncertainties is a square and carries its name.
func (p *areaPlot) point(at, percent, bar float64, q calib.LessonPoint) {
	x, y := p.x(at), p.y(percent)
	fmt.Fprintf(&p.out, `<path d="M%.1f %.1fV%.1fm-5 0h10M%.1f %.1fh10" stroke="black" fill="none"/>`+"\n",
		x, p.y(percent+bar), p.y(percent-bar), x-5, p.y(percent+bar))
	if math.Abs(q.Z) > calib.FarOut {
		fmt.Fprintf(&p.out, `<rect x="%.1f" y="%.1f" width="10" height="10" fill="white" stroke="black" stroke-width="2"/>`, x-5, y-5)
		anchor, to := "start", x+9
		if x > areaLeft+0.8*areaInner {
			anchor, to = "end", x-9
		}
		fmt.Fprintf(&p.out, `<text x="%.1f" y="%.1f" text-anchor="%s">%s</text>`+"\n", to, y+4, anchor, escaped(q.Name))
		return
	}
	fmt.Fprintf(&p.out, `<circle cx="%.1f" cy="%.1f" r="4"/>`+"\n", x, y)
	if p.strand {
		fmt.Fprintf(&p.out, `<text x="%.1f" y="%g" text-anchor="middle">%s</text>`+"\n", x, areaH-areaBottom+20, escaped(q.Name))
	}
}

// niceStep rounds a step up to 1, 2 or 5 times a power of ten.
func niceStep(x float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, f := range []float64{1, 2, 5} {
		if x <= f*power*(1+1e-9) {
			return f * power
		}
	}
	return 10 * power
}

// tick prints a multiple of step to its decimals.
func tick(v, step float64) string {
	decimals := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	if math.Abs(v) < step/2 {
		v = 0
	}
	return fmt.Sprintf("%.*f", decimals, v)
}

func escaped(s string) string {
	var b strings.Builder
	xml.EscapeText(&b, []byte(printable(s))) // a Builder fails never
	return b.String()
}
