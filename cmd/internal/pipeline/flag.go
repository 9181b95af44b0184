package pipeline

import (
	"fmt"

	"stripgap/calib/quantity"
	"stripgap/clearance"
	"stripgap/vision"
)

// Flags that the pipeline sets beside those of vision. The names are stable.
const (
	FlagPrintUnchecked  = "print-unchecked"
	FlagOutOfStripRange = clearance.FlagOutOfRange
	FlagTaper           = clearance.FlagTaper
)

// flagTexts says what a flag means and what to do about it, in one sentence for
// the whole table.
var flagTexts = map[string]string{
	FlagPrintUnchecked: "print-unchecked: the print scale of the card's sheet is not known, which adds 0.5 %; " +
		"measure the sheet's two long check bars with callipers and keep them with stripgap card check.",
	FlagOutOfStripRange: "out-of-strip-range: the clearance lies outside what this strip is made for; " +
		"it is not judged; use a strip whose range covers it.",
	FlagTaper: fmt.Sprintf("taper: the ends differ by more than %.4f mm (%.4f in) and by more than is uncertain; "+
		"measure again with a new strip.", clearance.TaperLimit, clearance.TaperLimit/quantity.Inch.MM()),
}

// FlagText returns the sentence that explains a flag, and whether there is one.
func FlagText(flag string) (string, bool) {
	if text, ok := flagTexts[flag]; ok {
		return text, true
	}
	return vision.FlagText(flag)
}
