package calib

import (
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/pelletier/go-toml/v2"

	"stripgap/calib/quantity"
	"stripgap/calib/strictfile"
)

// sheetFormat bounds a file of sheets; a sheet takes about 100 bytes.
var sheetFormat = strictfile.Format{What: "a file of sheets", MaxBytes: 1 << 20, Quoted: true}

// sheetEntry is a check as it is written.
type sheetEntry struct {
	Serial    string `toml:"serial"`
	Across    string `toml:"across"`
	Down      string `toml:"down"`
	U         string `toml:"u"`
	Checked   string `toml:"checked,omitempty"`
	Thickness string `toml:"thickness,omitempty"`
}

const sheetFileHead = `# Sheets of cards whose check bars were measured: the bar across (150 mm) and the
# bar down (200 mm) as callipers read them, and the standard uncertainty of both.

`

// FormatSheets returns the file that ParseSheets reads.
func FormatSheets(checks []SheetCheck) ([]byte, error) {
	var doc struct {
		Sheet []sheetEntry `toml:"sheet"`
	}
	mm := func(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) + " mm" }
	for _, c := range checks {
		e := sheetEntry{Serial: c.Serial, Across: mm(c.Across), Down: mm(c.Down), U: mm(c.U), Checked: c.Checked}
		if c.Thickness > 0 {
			e.Thickness = mm(c.Thickness)
		}
		doc.Sheet = append(doc.Sheet, e)
	}
	text, err := toml.Marshal(doc)
	if err != nil {
		return nil, fmt.Errorf("sheets: %w", err)
	}
	return append([]byte(sheetFileHead), text...), nil
}

// ParseSheets reads a file of checked sheets, one [[sheet]] table each, as
// FormatSheets writes it; a file without any is none. file names the data in
// errors, which read file:line:column. Refused are unknown, repeated or missing
// keys, figures without unit, what CheckBars refuses, a serial that is none or
// stands twice, and data over 1 MiB.
func ParseSheets(data []byte, file string) ([]SheetCheck, error) {
	var doc struct {
		Sheet []sheetEntry `toml:"sheet"`
	}
	at, err := sheetFormat.Decode(data, file, &doc)
	if err != nil {
		return nil, err
	}
	known := map[string]bool{}
	var checks []SheetCheck
	for i, e := range doc.Sheet {
		c, key, err := e.check()
		if err == nil && known[c.Serial] {
			key, err = "serial", errors.New("this sheet stands above; delete one")
		}
		if err != nil {
			return nil, fmt.Errorf("%s: sheet %d: %s: %w", at.Of("sheet", i, key), i+1, key, err)
		}
		known[c.Serial] = true
		checks = append(checks, c)
	}
	return checks, nil
}

// check converts an entry; with an error it names the key at fault.
func (e sheetEntry) check() (c SheetCheck, key string, err error) {
	if err := CheckSerial(e.Serial); err != nil {
		return c, "serial", err
	}
	c = SheetCheck{Serial: e.Serial, Checked: e.Checked}
	for _, f := range []struct {
		key, text string
		to        *float64
	}{{"across", e.Across, &c.Across}, {"down", e.Down, &c.Down}, {"u", e.U, &c.U}} {
		if *f.to, err = figure(f.text, quantity.ParseLength); err != nil {
			return c, f.key, err
		}
	}
	if e.Thickness != "" {
		if c.Thickness, err = figure(e.Thickness, ParseThickness); err != nil {
			return c, "thickness", err
		}
	}
	if e.Checked != "" {
		if _, err := time.Parse(time.DateOnly, e.Checked); err != nil {
			return c, "checked", fmt.Errorf("%q is not a day as 2026-11-25", e.Checked)
		}
	}
	key, err = c.impossible()
	return c, key, err
}
