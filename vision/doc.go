// Package vision turns a photo of a flattened gauging strip beside a
// calibration card into a width profile. It knows pixels and the card's
// geometry; it knows nothing of clearances, limits or verdicts.
//
// Load is the place to start: it gives an upright Photo or a *Refusal that says
// what is wrong with the file and what to do about it. Every photo that cannot
// be measured ends in a *Refusal, never in a doubtful number.
//
// Pixel (0,0) is the centre of the top-left pixel, x runs right, y runs down.
package vision
