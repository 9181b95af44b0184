// Package calib holds what is known before a strip is measured: card layouts
// and how they are drawn, how a camera maps a card to a photo, and what is
// known of a print and of a strip lot. It never looks at pixels.
package calib
