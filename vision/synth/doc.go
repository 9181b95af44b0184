// Package synth renders photos of a gauging strip beside a printed card, with
// exact truth, so that every reading can be checked against what was drawn.
//
// It is an adversary, not a helper: it has its own projection, its own strip
// and surface geometry and its own picture processing, and it never imports the
// code that reads photos. A Scene is plain data; the same Scene gives the same
// bytes. The order of processing is a phone's: light adds linearly, the lens
// blurs it, pixels integrate it, the sensor adds noise and a colour mosaic, and
// only then come tone, sharpening and JPEG.
//
// What it does not know: diffraction, rolling shutter, several lamps with hard
// shadows, and the depth of field inside one photo.
package synth
