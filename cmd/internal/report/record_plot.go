package report

import (
	"fmt"
	"math"
	"strings"

	"stripgap/calib/quantity"
)

// The profile plot's measures, in units of its view box. They are near to
// pixels on a phone, so its text stays readable there and on paper.
const (
	plotWidth, plotHeight         = 430.0, 286.0
	plotLeft, plotRight           = 54.0, 382.0
	plotTop, plotBottom           = 22.0, 226.0
	keyStep                       = 130.0
	plotTextRoom                  = 15.0 // a limit's name needs this much height
	mmPerThou                     = 0.0254
	minPlotSpan           float64 = 0.004 // mm, so that noise is not blown up
)

// profilePlot is the clearance along the strips of one bearing, ready to draw:
// the template only writes it down.
type profilePlot struct {
	Title, Describe          string
	MM, Thou, Along          []plotTick
	Limits                   []plotLimit
	Curves                   []plotCurve
	Crosses                  []plotPoint // dropped stations
	FirstEnd, SecondEnd      string
	Width, Height            float64
	Left, Right, Top, Bottom float64
	Middle, KeyY             float64
}

type plotPoint struct{ X, Y float64 }

type plotTick struct {
	At   float64
	Text string
}

type plotLimit struct {
	Y, TextY float64
	Name     string
}

// plotCurve is one strip: its band, its line and its name in the key.
type plotCurve struct {
	Band, Line string // path data
	Points     []plotPoint
	Style      int // 0, 1, 2: how the line is dashed and its points drawn
	Name       string
	// The place in the key.
	KeyX, KeyEnd float64
	KeyPoint     plotPoint
}

// plotAxes map millimetres to the view box; the first end is on the left.
type plotAxes struct{ reach, lo, hi float64 }

func (a plotAxes) x(at float64) float64 {
	return plotLeft + (a.reach-at)/(2*a.reach)*(plotRight-plotLeft)
}

func (a plotAxes) y(mm float64) float64 {
	return plotBottom - (mm-a.lo)/(a.hi-a.lo)*(plotBottom-plotTop)
}

// plotOf plans the plot of a bearing's readings that count; nil without any
// profile.
func plotOf(b RecordBearing) *profilePlot {
	var shown []RecordReading
	for _, r := range b.Readings {
		if len(r.Profile) > 0 && r.Set == "" {
			shown = append(shown, r)
		}
	}
	limits := limitLines(b)
	axes, ok := axesOf(shown, limits)
	if !ok {
		return nil
	}
	p := &profilePlot{Width: plotWidth, Height: plotHeight,
		Left: plotLeft, Right: plotRight, Top: plotTop, Bottom: plotBottom,
		Middle: (plotLeft + plotRight) / 2, KeyY: plotHeight - 8}
	p.FirstEnd, p.SecondEnd = shown[0].Ends[0].Name, shown[0].Ends[1].Name
	p.Title = "Clearance along the strip, " + b.Name
	p.ticks(axes)
	for i, r := range shown {
		p.addCurve(axes, r, i)
	}
	p.addLimits(axes, limits, shown)
	p.Describe = describePlot(shown, limits)
	return p
}

// limitLine is a limit to draw.
type limitLine struct {
	name string
	mm   float64
}

func limitLines(b RecordBearing) (lines []limitLine) {
	for _, l := range []struct {
		kind string
		v    *RecordVerdict
	}{{"new", b.New}, {"service", b.Service}} {
		if l.v == nil {
			continue
		}
		if l.v.Lo != nil {
			lines = append(lines, limitLine{l.kind + " min", *l.v.Lo})
		}
		if l.v.Hi != nil {
			lines = append(lines, limitLine{l.kind + " max", *l.v.Hi})
		}
	}
	return lines
}

// axesOf chooses the axes: the whole length across, and upright every band and
// every limit with a margin.
func axesOf(shown []RecordReading, limits []limitLine) (a plotAxes, ok bool) {
	a.lo, a.hi = math.Inf(1), math.Inf(-1)
	for _, r := range shown {
		for _, s := range r.Profile {
			a.reach = max(a.reach, math.Abs(s.At))
			if !s.Dropped {
				a.lo, a.hi = min(a.lo, s.MM-s.Half), max(a.hi, s.MM+s.Half)
			}
		}
	}
	if a.lo > a.hi || a.reach == 0 {
		return a, false
	}
	for _, l := range limits {
		a.lo, a.hi = min(a.lo, l.mm), max(a.hi, l.mm)
	}
	pad := max((a.hi-a.lo)/9, minPlotSpan/9, (minPlotSpan-a.hi+a.lo)/2)
	a.lo, a.hi = max(0, a.lo-pad), a.hi+pad
	a.reach *= 1.03
	return a, true
}

func (p *profilePlot) ticks(a plotAxes) {
	values, decimals := quantity.Steps(a.lo, a.hi, 6)
	for _, v := range values {
		p.MM = append(p.MM, plotTick{a.y(v), fmt.Sprintf("%.*f", decimals, v)})
	}
	values, decimals = quantity.Steps(a.lo/mmPerThou, a.hi/mmPerThou, 6)
	for _, v := range values {
		p.Thou = append(p.Thou, plotTick{a.y(v * mmPerThou), fmt.Sprintf("%.*f", decimals, v)})
	}
	values, decimals = quantity.Steps(-a.reach, a.reach, 6)
	for _, v := range values {
		p.Along = append(p.Along, plotTick{a.x(v), fmt.Sprintf("%.*f", decimals, math.Abs(v))})
	}
}

// addCurve adds one reading. A dropped station interrupts line and band, so that a
// gap stays a gap.
func (p *profilePlot) addCurve(a plotAxes, r RecordReading, i int) {
	c := plotCurve{Style: i % 3, Name: "strip " + fmt.Sprint(r.Strip)}
	if r.Position != "" {
		c.Name += " at " + r.Position
	}
	var band, line strings.Builder
	var run []RecordStation
	flush := func() {
		for j, s := range run {
			fmt.Fprintf(&line, "%s%.1f %.1f", pathVerb(j), a.x(s.At), a.y(s.MM))
			fmt.Fprintf(&band, "%s%.1f %.1f", pathVerb(j), a.x(s.At), a.y(s.MM+s.Half))
		}
		for j := len(run) - 1; j >= 0; j-- {
			fmt.Fprintf(&band, "L%.1f %.1f", a.x(run[j].At), a.y(run[j].MM-run[j].Half))
		}
		if len(run) > 0 {
			band.WriteString("Z")
		}
		run = run[:0]
	}
	for _, s := range r.Profile {
		if s.Dropped {
			flush()
			p.Crosses = append(p.Crosses, plotPoint{round1(a.x(s.At)), plotBottom - 6})
			continue
		}
		run = append(run, s)
		c.Points = append(c.Points, plotPoint{round1(a.x(s.At)), round1(a.y(s.MM))})
	}
	flush()
	c.Band, c.Line = band.String(), line.String()
	c.Points = thin(c.Points, 12)
	c.KeyX = plotLeft + float64(i)*keyStep
	c.KeyEnd = c.KeyX + 34
	c.KeyPoint = plotPoint{c.KeyX + 17, p.KeyY}
	p.Curves = append(p.Curves, c)
}

func pathVerb(i int) string {
	if i == 0 {
		return "M"
	}
	return "L"
}

func round1(x float64) float64 { return math.Round(10*x) / 10 }

// thin keeps about n points of a line, to set its symbols.
func thin(points []plotPoint, n int) (kept []plotPoint) {
	step := max(1, len(points)/n)
	for i := step / 2; i < len(points); i += step {
		kept = append(kept, points[i])
	}
	return kept
}

// addLimits draws the limits and names each on the side where no curve is.
func (p *profilePlot) addLimits(a plotAxes, limits []limitLine, shown []RecordReading) {
	var sum float64
	for _, r := range shown {
		sum += r.Clearance.MM
	}
	mean := sum / float64(len(shown))
	for _, l := range limits {
		y := round1(a.y(l.mm))
		text := y - 4
		if l.mm < mean {
			text = y + plotTextRoom - 3
		}
		p.Limits = append(p.Limits, plotLimit{y, text, l.name})
	}
}

// describePlot says in words what the plot shows.
func describePlot(shown []RecordReading, limits []limitLine) string {
	var parts []string
	for _, r := range shown {
		parts = append(parts, fmt.Sprintf("strip %d: %s %s, %s %s", r.Strip,
			quantity.FormatLength(r.Ends[0].MM, quantity.MM, 4), r.Ends[0].Name,
			quantity.FormatLength(r.Ends[1].MM, quantity.MM, 4), r.Ends[1].Name))
	}
	for _, l := range limits {
		parts = append(parts, l.name+" "+quantity.FormatLength(l.mm, quantity.MM, 4))
	}
	return strings.Join(parts, "; ")
}
