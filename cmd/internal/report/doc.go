// Package report writes readings for people and for other programs: the text
// table, CSV and the JSON document. It rounds for people only; the other two
// keep full precision. It measures and judges nothing.
package report
