package vision

import (
	"fmt"

	"stripgap/calib"
)

// Refusal is a photo that is not measured: why, in words for the person at the
// bench, and what to do. Code is stable and one of the registry's.
type Refusal struct {
	Code, Message, Remedy string

	places [][]calib.PixelPoint // see Measurement.Places
	tinted bool                 // luma says so, and colour may tell otherwise
}

// Error returns the message, without the remedy.
func (r *Refusal) Error() string { return r.Message }

// Refuse returns the refusal registered under code. A non-empty format adds a
// detail to its message, after a colon. A code that is not in the registry is a
// programmer's mistake and panics.
func Refuse(code, format string, args ...any) *Refusal {
	k, ok := refusals[code]
	if !ok {
		panic(fmt.Sprintf("vision: refusal code %q is not registered", code))
	}
	r := &Refusal{Code: code, Message: k.message, Remedy: k.remedy}
	if format != "" {
		r.Message += ": " + fmt.Sprintf(format, args...)
	}
	return r
}

// at adds outlines of what the refusal is about.
func (r *Refusal) at(outlines ...[]calib.PixelPoint) *Refusal {
	for _, o := range outlines {
		if len(o) > 0 {
			r.places = append(r.places, o)
		}
	}
	return r
}

// unlessByColour marks a refusal as luma's alone: light and shadow may be its cause, and
// leave the metal its colour.
func (r *Refusal) unlessByColour() *Refusal {
	r.tinted = true
	return r
}

// Refusal codes: of the file.
const (
	CodeMissing     = "missing"
	CodeEmpty       = "empty"
	CodeNotAPhoto   = "not-a-photo"
	CodeUnsupported = "unsupported-format"
	CodeTruncated   = "truncated"
	CodeTooLarge    = "too-large"
	CodeNoColour    = "no-colour"
	CodeCMYK        = "cmyk"
	CodeSixteenBit  = "sixteen-bit"
)

// Refusal codes: of the card in the photo.
const (
	CodeNoCard        = "no-card"
	CodeFewMarks      = "few-marks"
	CodeTwoCards      = "two-cards"
	CodeMirrored      = "mirrored"
	CodeTilted        = "tilted"
	CodeCardDistorted = "card-distorted"
	CodeBlurred       = "blurred"
	CodeSaturated     = "saturated"
	CodeScaleGate     = "scale-gate"
	CodeTooSmall      = "too-small"
	CodeOverProcessed = "over-processed"
	CodePrintMismatch = "print-mismatch"
)

// Refusal codes: of the strip beside the card.
const (
	CodeNoStrip          = "no-strip"
	CodeTwoStrips        = "two-strips"
	CodeStripCutOff      = "strip-cut-off"
	CodeStripReachesCard = "strip-reaches-card"
	CodeNarrowStrip      = "narrow-strip"
	CodeLowContrast      = "low-contrast"
	CodeStationsLost     = "stations-lost"
	CodeRiderGap         = "rider-gap"
	CodeSmeared          = "smeared"
	CodeRolled           = "rolled"
	CodeNotRound         = "not-round"
	CodeNoBars           = "no-bars"
	CodeUnevenEdges      = "uneven-edges"
	CodeSoftEdges        = "soft-edges"
	CodeSurfaceMismatch  = "surface-mismatch"
)

// Refusal codes: of two photos read together.
const (
	CodePairMismatch = "pair-mismatch"
	CodePairTooAlike = "pair-too-alike"
)

// OfFile reports whether a refusal is about the file, in which then no picture is
// to be seen.
func OfFile(code string) bool {
	switch code {
	case CodeMissing, CodeEmpty, CodeNotAPhoto, CodeUnsupported, CodeTruncated, CodeTooLarge, CodeNoColour, CodeCMYK, CodeSixteenBit:
		return true
	}
	return false
}

// Undisturbed reports whether what helps against a refusal leaves strip and card as
// they lie, so that another photo of them stays good.
func Undisturbed(code string) bool {
	switch code {
	case CodeFewMarks, CodeMirrored, CodeTilted, CodeBlurred, CodeSaturated, CodeTooSmall, CodeOverProcessed, CodeStripCutOff, CodeNarrowStrip, CodeLowContrast, CodeSoftEdges, CodePairTooAlike, CodePrintMismatch:
		return true
	}
	return false
}

type refusalText struct{ message, remedy string }

// refusals is the one registry of codes, with the words a person reads.
var refusals = map[string]refusalText{
	CodeMissing: {"the file cannot be opened",
		"check the file's name and folder, and that you may read it"},
	CodeEmpty: {"the file is empty",
		"copy the photo from the phone again"},
	CodeNotAPhoto: {"this is not a photo",
		"give the photo as the phone saved it: JPEG, HEIC, PNG or WebP"},
	CodeUnsupported: {"this kind of photo is not read yet",
		"set the phone's camera to save JPEG (often called \"most compatible\") and take the photo again"},
	CodeTruncated: {"the photo is damaged or cut short",
		"copy the photo from the phone again, by cable or as a file rather than through a messenger"},
	CodeTooLarge: {"the photo is too large",
		"take the photo at the camera's normal size (8 to 50 megapixels), not as a panorama or a stitched picture"},
	CodeNoColour: {"the photo has no colour: it is a copy or a scan, and the strip's edge colours cannot be told",
		"send the camera's own colour file"},
	CodeCMYK: {"the photo is in printing colours (CMYK)",
		"send the camera's own file, not one saved for printing"},
	CodeSixteenBit: {"the photo has more than 8 bits per colour",
		"send the camera's own JPEG, not an edited or raw file"},

	CodeNoCard: {"no card is seen in the photo",
		"lay the printed card beside the strip, flat and whole in the picture, and take the photo again"},
	CodeFewMarks: {"too few of the card's marks are seen",
		"keep all six round marks and the bars in the picture, clear of fingers, shadow, oil and glare"},
	CodeTwoCards: {"two cards of the same kind are in the photo",
		"leave one card beside the strip and move the others out of the picture"},
	CodeMirrored: {"the photo is mirrored",
		"turn off the mirror setting of the camera, or send the file as taken, not flipped"},
	CodeTilted: {"the camera looked at the card from too far to the side",
		"hold the phone square above the strip and card, and take the photo again"},
	CodeCardDistorted: {"the marks do not fit a flat card",
		"lay it flat (not folded, curled or wet), away from the corners, and send the whole photo, not cropped"},
	CodeBlurred: {"the photo is not sharp",
		"rest the phone, tap the strip to focus, keep a hand's width away or more, and use more light"},
	CodeSaturated: {"parts that must be measured are burnt out",
		"shade the strip from direct light, tap the bright metal to set the exposure, and leave the flash off"},
	CodeScaleGate: {"the card's bars do not measure as printed",
		"print the card at 100 % on plain paper with a good printer, lay it flat, and take the photo again"},
	CodePrintMismatch: {"the card is not as wide for its height as the check of its sheet says",
		"measure the two long bars of the sheet that this card was cut from, and keep them with stripgap card check"},
	CodeTooSmall: {"the card is too small in the photo",
		"move closer with the phone, as close as it still focuses, and do not shrink the photo"},
	CodeOverProcessed: {"the phone sharpened or smoothed the photo so much that edges in it are not what they were",
		"use the phone's plain photo mode, without zoom, night or beauty mode, and more light"},

	CodeNoStrip: {"no strip is seen beside the card",
		"lay the card closer to the strip, without covering it, and wipe oil and dirt off the metal"},
	CodeTwoStrips: {"more than one strip may be meant",
		"leave one strip beside the card, or name the part of the picture to look at with --zone"},
	CodeStripCutOff: {"the strip runs out of the picture",
		"take the photo again with the whole strip and the whole card in it"},
	CodeStripReachesCard: {"the strip runs under or against the card",
		"leave a gap of a few millimetres between the strip and the card"},
	CodeNarrowStrip: {"the strip is too narrow in the photo to be measured",
		"go closer with the phone, as close as it still focuses"},
	CodeLowContrast: {"the strip hardly stands out from the metal",
		"change what the metal mirrors: hold a white sheet behind the phone, or a dark one; no direct lamp"},
	CodeStationsLost: {"too much of the strip could not be measured",
		"look at the dropped places in the picture: take away glare, dirt and shadow there, and take the photo again"},
	CodeSmeared: {"one edge of the strip is drawn out: the shaft or cap moved while the strip was in",
		"lay a new strip, tighten without turning the shaft, and lift the cap straight off"},
	CodeRolled: {"the strip's width jumps, as where an edge was folded over",
		"lay a new strip flat and straight"},
	CodeNotRound: {"this does not look like a round, unused strand",
		"lay one straight strand on plain white paper, in even light from all sides, and go closer with the phone"},
	CodeNoBars: {"no dark bars are seen beside the card",
		"lay the printed scale flat beside the card, at the same height, and name its part of the picture with --zone"},
	CodeUnevenEdges: {"one edge of the strip is far less sharp than the other: its own shadow, or film drawn out, lies beside it",
		"light it from all sides (a white sheet round it, no single lamp), and lay a new strip if that does not help"},
	CodeSoftEdges: {"both edges of the strip are softer than the card's: it is out of focus, or its own shadow lies along them",
		"tap the strip to focus, lay the card at its height, and light it from all sides (a white sheet round it)"},
	CodeRiderGap: {"the small card lies too far from the strip",
		"lay the small card within 5 mm of the strip, at the same height"},
	CodeSurfaceMismatch: {"the strip and the card do not fit on a surface of the radius that was told",
		"give half of the diameter of the journal or bore that they lie on, and the unit it is meant in"},

	CodePairMismatch: {"the two photos do not fit together",
		"take both photos of the same strip and card, in even light and without touching either in between"},
	CodePairTooAlike: {"the two photos were taken from nearly the same side",
		"take one photo leaning to one side of the strip and one leaning to the other, 15 degrees or so each"},
}
