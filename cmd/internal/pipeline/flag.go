package pipeline

import "stripgap/clearance"

// Flags that the pipeline sets beside those of vision. The names are stable.
const (
	FlagPrintUnchecked  = "print-unchecked"
	FlagOutOfStripRange = clearance.FlagOutOfRange
)

// flagTexts says what a flag means and what to do about it, in one sentence for
// the whole table.
var flagTexts = map[string]string{
	FlagPrintUnchecked: "print-unchecked: the card's print scale was never checked, which adds 0.5 %; " +
		"measure the sheet's two long check bars with callipers.",
	FlagOutOfStripRange: "out-of-strip-range: the clearance lies outside what this strip is made for; " +
		"use a strip whose range covers it.",
}

// FlagText returns the sentence that explains a flag, and whether there is one.
func FlagText(flag string) (string, bool) {
	text, ok := flagTexts[flag]
	return text, ok
}
