package vision

// Flags of a measurement: what is wrong with the strip though it was read, or
// why it was not. The names are stable.
const (
	FlagSmeared        = "smeared"
	FlagRolled         = "rolled"
	FlagTorn           = "torn"
	FlagOverGap        = "over-gap"
	FlagUnevenEdges    = "uneven-edges"
	FlagSurfaceAssumed = "surface-assumed"
	FlagEndsByHand     = "ends-by-hand"
	FlagByColour       = "by-colour"
	FlagAsBlack        = "as-black-as-print"
)

// flagTexts says what a flag means and what to do about it, in one sentence.
var flagTexts = map[string]string{
	FlagSmeared: "smeared: one edge of the strip is drawn out; the shaft or cap moved while the strip was in; " +
		"lay a new strip and do not turn the shaft.",
	FlagRolled: "rolled: the strip's width jumps, as where an edge was folded over; lay a new strip.",
	FlagTorn: "torn: bare metal shows in a gap of the strip; the gap is left out; " +
		"lay a new strip if it is wider than the strip.",
	FlagOverGap: "over-gap: the strip crosses an oil hole or groove; those places are left out; " +
		"lay the next strip beside it.",
	FlagUnevenEdges: "uneven-edges: one edge of the strip is less sharp than the other, as where its own shadow lies; " +
		"the width may be some per cent too large; take the photo again in light from all sides.",
	FlagSurfaceAssumed: "surface-assumed: how strip and card lie to one another was not told, so the uncertainty allows " +
		"for it; say --flat, --shell-radius, --journal-radius or --height, or read two photos with --pair.",
	FlagEndsByHand: "ends-by-hand: a person said where the strip ends; what lies beyond was left out.",
	FlagByColour: "by-colour: strip and metal are about equally light, or a shadow lies along the strip, so the strip was " +
		"measured by its colour, which photos hold less finely; to be surer change what the metal mirrors, with a white or " +
		"a dark sheet behind the phone, and light it from all sides.",
	FlagAsBlack: "as-black-as-print: what was measured is as black as the card's ink; look at the picture and make sure " +
		"that it is the strip, and no drawn or printed line, groove, shadow or cable.",
}

// FlagText returns the sentence that explains a flag, and whether there is one.
func FlagText(flag string) (string, bool) {
	text, ok := flagTexts[flag]
	return text, ok
}

// flag adds a flag once.
func (m *Measurement) flag(name string) {
	for _, f := range m.Flags {
		if f == name {
			return
		}
	}
	m.Flags = append(m.Flags, name)
}
