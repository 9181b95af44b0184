// Package folder keeps a build on disk: build.toml, the photos, the pictures of the
// readings and readings.jsonl, to which lines are only ever added. One process at a
// time may write to a folder; any may look.
//
// It sorts photos to bearings and keeps what was read of them. It does not read
// photos itself, and judges nothing: that is package build's.
//
//	build.toml       what the person tells, written by hand
//	photos/          photos as taken
//	pictures/        what was seen in them, one picture a reading or refusal
//	readings.jsonl   readings, refusals, withdrawals, sheets of tags
//	.lock            held by the process that writes
package folder
