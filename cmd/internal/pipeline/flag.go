package pipeline

import (
	"fmt"

	"stripgap/clearance"
	"stripgap/vision"
)

// Flags that the pipeline sets beside those of vision. The names are stable.
const (
	FlagPrintUnchecked  = "print-unchecked"
	FlagOutOfStripRange = clearance.FlagOutOfRange
	FlagTaper           = clearance.FlagTaper
	FlagTaperUnsure     = clearance.FlagTaperUnsure
	FlagTemperature     = clearance.FlagTemperature
	FlagEndOutside      = clearance.FlagEndOutside
)

// flagTexts says what a flag means and what to do about it, in one sentence for
// the whole table.
var flagTexts = map[string]string{
	FlagPrintUnchecked: "print-unchecked: the print scale of the card's sheet is not known, which adds 0.5 %; " +
		"measure the sheet's two long check bars with callipers and keep them with stripgap card check.",
	FlagOutOfStripRange: "out-of-strip-range: the clearance lies outside what this strip is made for; " +
		"it is not judged; use a strip whose range covers it.",
	FlagTaper: "taper: the ends differ by what may be more than the taper limit, and by more than is uncertain; " +
		"measure again with a new strip.",
	FlagTaperUnsure: "taper-unsure: a taper of the limit could hide in this reading's uncertainty; " +
		"tell the surface it lies on, or take two photos from different sides.",
	FlagEndOutside: "end-outside: the mean clearance is inside the limits, but an end lies beyond one by more than is uncertain; " +
		"lay a new strip, and go by the ends if it shows again.",
	FlagTemperature: fmt.Sprintf("temperature: the strip was used outside %g to %g degC; the budget allows for it, "+
		"but let parts and strip come to room temperature and measure again.", clearance.RoomLo, clearance.RoomHi),
}

// FlagText returns the sentence that explains a flag, and whether there is one.
func FlagText(flag string) (string, bool) {
	if text, ok := flagTexts[flag]; ok {
		return text, true
	}
	return vision.FlagText(flag)
}
