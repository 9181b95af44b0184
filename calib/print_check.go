package calib

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"stripgap/calib/quantity"
)

// SheetCheck is the callipers' reading of a sheet's two check bars, and of its cards'
// thickness where that was told.
type SheetCheck struct {
	Serial       string
	Across, Down float64 // mm, the bars of 150 and 200 mm
	U            float64 // mm, standard uncertainty of either
	Checked      string  // the day, as 2026-11-25; may be empty
	Thickness    float64 // mm, board, glue and paper; 0 when not told
}

// CalliperU is the standard uncertainty in mm of a bar's length where none is
// told: setting jaws by eye to the two ends of a bar of ink, and the ink's own
// spreading, which makes a bar longer by some hundredths. Estimate, no source.
const CalliperU = 0.1

// Print returns what the check says of every card of the sheet. Cards are never
// turned on a sheet: the bar across gives the scale along the cards' x and the
// bar down that along their y. U is that of the shorter bar, for both.
func (c SheetCheck) Print() PrintScale {
	return PrintScale{X: c.Across / acrossLength, Y: c.Down / downLength, U: c.U / acrossLength, Thickness: c.Thickness}
}

const (
	maxPrintOff = 0.05  // a scale further off is a slip of the reading, or the wrong page
	oddPrintOff = 0.01  // further off than a printer told to print at 100 % (common practice, no source)
	oddApart    = 0.005 // more than a printer's two directions differ (common practice, no source)
	maxBarU     = 1.0   // mm; a steel rule does better
	maxThick    = 5.0   // mm; what thicker cards stand on is no board
)

// CheckBars reads the two bars' lengths and their standard uncertainty, each with
// its unit; an empty u is CalliperU. Refused, with the figure that was probably
// meant, are a missing or wrong unit, swapped bars, a slipped decimal point,
// swapped digits and a scale more than 5 % off.
func CheckBars(across, down, u string) (SheetCheck, error) {
	a, errA := quantity.ParseLength(across)
	d, errD := quantity.ParseLength(down)
	if errA == nil && errD == nil && near(a, downLength) && near(d, acrossLength) {
		return SheetCheck{}, fmt.Errorf("the figures are swapped: across is the bar of %v mm and down that of %v mm; probably across %q and down %q",
			acrossLength, downLength, down, across)
	}
	if err := checkBar("across", across, a, errA, acrossLength, downLength); err != nil {
		return SheetCheck{}, err
	}
	if err := checkBar("down", down, d, errD, downLength, acrossLength); err != nil {
		return SheetCheck{}, err
	}
	c := SheetCheck{Across: a, Down: d, U: CalliperU}
	if u == "" {
		return c, nil
	}
	var err error
	if c.U, err = quantity.ParseLength(u); err != nil {
		return SheetCheck{}, fmt.Errorf("u: %w", err)
	}
	if key, err := c.impossible(); err != nil {
		return SheetCheck{}, fmt.Errorf("%s: %w", key, err)
	}
	return c, nil
}

// ParseThickness reads a card's thickness with its unit, board, glue and paper
// together: above 0 and at most 5 mm.
func ParseThickness(text string) (mm float64, err error) {
	if mm, err = quantity.ParseLength(text); err != nil {
		return 0, err
	}
	if !(mm > 0 && mm <= maxThick) {
		return 0, fmt.Errorf("%q must be above 0 and at most %v mm: board, glue and paper together", text, maxThick)
	}
	return mm, nil
}

// Odd says in a sentence what is unusual about a print that is possible all the
// same, or nothing.
func (c SheetCheck) Odd() string {
	p := c.Print()
	switch {
	case math.Abs(p.X/p.Y-1) > oddApart:
		return fmt.Sprintf("the bars differ in scale by %.1f %%, and printers seldom by more than %.1f %%: measure both again",
			100*math.Abs(p.X/p.Y-1), 100*oddApart)
	case math.Abs(p.X-1) > oddPrintOff:
		return fmt.Sprintf("the sheet was printed at %.1f %%; its scale is reckoned with, but print at 100 %%, not fitted to the page", 100*p.X)
	}
	return ""
}

// impossible names the figure that no sheet has, and says why; a nil error means
// that there is none.
func (c SheetCheck) impossible() (key string, err error) {
	switch {
	case !near(c.Across, acrossLength):
		return "across", fmt.Errorf("%v mm is not within %.0f %% of %v mm", c.Across, 100*maxPrintOff, acrossLength)
	case !near(c.Down, downLength):
		return "down", fmt.Errorf("%v mm is not within %.0f %% of %v mm", c.Down, 100*maxPrintOff, downLength)
	case !(c.U > 0 && c.U <= maxBarU):
		return "u", fmt.Errorf("%v mm must be above 0 and at most %v mm", c.U, maxBarU)
	}
	return "", nil
}

func near(mm, nominal float64) bool {
	const rounding = 1e-9
	return math.Abs(mm/nominal-1) <= maxPrintOff+rounding
}

// checkBar explains why a bar's figure cannot be right, nil when it can.
func checkBar(name, text string, mm float64, err error, nominal, other float64) error {
	if err == nil && near(mm, nominal) {
		return nil
	}
	meant := likelyBar(text, nominal)
	if meant != "" {
		meant = "; probably " + meant
	}
	switch {
	case err != nil:
		return fmt.Errorf("%s: %w%s", name, err, meant)
	case near(mm, other):
		return fmt.Errorf("%s: %q is the length of the other bar; this one is %v mm long", name, text, nominal)
	case meant != "":
		return fmt.Errorf("%s: %q is not near the bar's %v mm%s", name, text, nominal, meant)
	}
	return fmt.Errorf("%s: %q is %.0f %% of the bar's %v mm, and a print more than %.0f %% off is not used: measure again from end to end, or print again at 100 %%",
		name, text, 100*mm/nominal, nominal, 100*maxPrintOff)
}

// likelyBar returns the figure probably meant for a bar, or nothing: the same
// number in mm, in or cm, its decimal point moved or a comma, or two neighbouring
// digits swapped.
func likelyBar(text string, nominal float64) string {
	t := strings.Replace(strings.TrimSpace(text), ",", ".", 1)
	number := t[:len(t)-len(strings.TrimLeft(t, "0123456789."))]
	x, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return ""
	}
	const cm = 10
	switch {
	case near(x, nominal):
		return number + " mm"
	case near(x*quantity.Inch.MM(), nominal):
		return number + " in"
	case near(x*cm, nominal):
		return fmt.Sprintf("%.6g mm", x*cm)
	}
	for _, f := range [3]float64{0.01, 0.1, 100} {
		if near(x*f, nominal) {
			return fmt.Sprintf("%.6g mm", x*f)
		}
	}
	return swappedDigits(number, nominal)
}

func swappedDigits(number string, nominal float64) string {
	b := []byte(number)
	for i := range len(b) - 1 {
		b[i], b[i+1] = b[i+1], b[i]
		if x, err := strconv.ParseFloat(string(b), 64); err == nil && near(x, nominal) {
			return string(b) + " mm"
		}
		b[i], b[i+1] = b[i+1], b[i]
	}
	return ""
}

// CheckSerial refuses what is not a sheet's serial, and says why.
func CheckSerial(s string) error {
	if s == "" {
		return errors.New("serial: empty; it stands at the top of the sheet and on every card")
	}
	return checkSerial(s)
}

// Prints returns the print of each checked sheet by its serial.
func Prints(checks []SheetCheck) map[string]PrintScale {
	out := map[string]PrintScale{}
	for _, c := range checks {
		out[c.Serial] = c.Print()
	}
	return out
}
