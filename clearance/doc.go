// Package clearance turns the widths of a crushed gauging strip into the gap it
// was crushed to, and judges that gap against limits.
//
// The strip's volume is conserved, so a strip of section area A crushed to a gap
// c spreads to a width w with A = w c for square free edges; wider strip, smaller
// clearance. The package knows no pixels, cards or photos: it takes widths in
// millimetres with their uncertainties. It never assumes a section area; without
// one only the relative taper can be told.
package clearance
