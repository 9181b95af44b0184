// Package pipeline turns photos into Results, the versioned JSON contract of
// the program: it collects photos, runs a Reader over each, and keeps one bad
// photo from stopping the rest. It brings pixels (vision), what is known
// (calib) and the clearance together, and computes nothing itself that belongs
// to one of them.
package pipeline
