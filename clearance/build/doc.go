// Package build is the model of one engine's bearings: what a person tells of them
// (build.toml), the accepted readings and how they are written down one line each
// (readings.jsonl), and from both the status of every bearing with the next step.
//
// It knows no files, photos or cards: it takes and gives bytes and values. A
// reading's photo is a name and a hash to it. Lengths are millimetres.
package build
