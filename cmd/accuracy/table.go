package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"
)

// column is one figure of a group: name for the CSV file, head for tables (none:
// only in the file), and its value, "" where there is none.
type column struct {
	name, head string
	value      func(g *group, digits int) string
}

// number returns a formatted figure; with fewer than least photos there is none.
func number(get func(g *group) float64, n func(g *group) int, least int) func(*group, int) string {
	return func(g *group, digits int) string {
		if n(g) < least {
			return ""
		}
		return format(get(g), digits)
	}
}

func count(get func(g *group) int) func(*group, int) string {
	return func(g *group, _ int) string { return strconv.Itoa(get(g)) }
}

// format writes v without a minus before zero.
func format(v float64, digits int) string {
	if math.Abs(v) < 0.5*math.Pow10(-digits) {
		v = 0
	}
	return strconv.FormatFloat(v, 'f', digits, 64)
}

func columns() []column {
	photos := func(g *group) int { return g.photos }
	list := []column{
		{"photos", "photos", count(photos)},
		{"read_percent", "read %", number(func(g *group) float64 { return share(g.read, g.photos) }, photos, 1)},
		{"as_wanted_percent", "right %", number(func(g *group) float64 { return share(g.right, g.photos) }, photos, 1)},
		{"wrongly_read", "", count(func(g *group) int { return g.wrongly })},
	}
	list = append(list, spreadColumns("width", func(g *group) *spread { return &g.width },
		[8]string{"med %", "p95 %", "bias %", "worst %", "u %", "cover %"})...)
	list = append(list,
		column{"width_above_3_percent", ">3 %", count(func(g *group) int { return g.width.Above3 })},
		column{"width_above_5_percent", ">5 %", count(func(g *group) int { return g.width.Above5 })},
		column{"width_silent", "silent", count(func(g *group) int { return g.width.Silent })})
	list = append(list, spreadColumns("net", func(g *group) *spread { return &g.net },
		[8]string{1: "net p95 %", 4: "net u %", 5: "net cover %", 7: "net z sd"})...)
	list = append(list, spreadColumns("taper", func(g *group) *spread { return &g.taper },
		[8]string{"taper med %", "p95 %", "bias %", "worst %", "u %", "cover %", "", "z sd"})...)
	plain := func(g *group) int { return g.taperPlain.N }
	list = append(list,
		column{"taper_plain_median_percent", "", number(func(g *group) float64 { return g.taperPlain.Median }, plain, 1)},
		column{"taper_plain_p95_percent", "", number(func(g *group) float64 { return g.taperPlain.P95 }, plain, 1)},
		column{"ends_wrong", "ends wrong", count(func(g *group) int { return g.endsWrong })},
		column{"marks_median_px", "marks px", number(func(g *group) float64 { return quantile(g.marks, 0.5) }, marks, 1)},
		column{"marks_p95_px", "", number(func(g *group) float64 { return quantile(g.marks, 0.95) }, marks, 1)},
		column{"refusals", "refused", func(g *group, _ int) string { return g.refusals() }})
	return list
}

func marks(g *group) int { return len(g.marks) }

// spreadColumns returns the columns of one spread, with their heads.
func spreadColumns(name string, of func(g *group) *spread, heads [8]string) []column {
	n := func(g *group) int { return of(g).N }
	var list []column
	for i, f := range [8]struct {
		suffix string
		get    func(s *spread) float64
		least  int
	}{
		{"median_percent", func(s *spread) float64 { return s.Median }, 1},
		{"p95_percent", func(s *spread) float64 { return s.P95 }, 1},
		{"bias_percent", func(s *spread) float64 { return s.Bias }, 1},
		{"worst_percent", func(s *spread) float64 { return s.Worst }, 1},
		{"u_median_percent", func(s *spread) float64 { return s.MedianU }, 1},
		{"covered_percent", func(s *spread) float64 { return s.Covered }, 1},
		{"z_mean", func(s *spread) float64 { return s.ZMean }, 1},
		{"z_sd", func(s *spread) float64 { return s.ZSD }, 2},
	} {
		value := number(func(g *group) float64 { return f.get(of(g)) }, n, f.least)
		list = append(list, column{name + "_" + f.suffix, heads[i], value})
	}
	return list
}

// tableCells returns the head and one line per group for reading by eye.
func tableCells(groups []group) [][]string {
	head := []string{"photos of"}
	for _, c := range columns() {
		if c.head != "" {
			head = append(head, c.head)
		}
	}
	out := [][]string{head}
	for i := range groups {
		line := []string{groups[i].title()}
		for _, c := range columns() {
			if c.head == "" {
				continue
			}
			v := c.value(&groups[i], 2)
			if v == "" {
				v = "-"
			}
			line = append(line, v)
		}
		out = append(out, line)
	}
	return out
}

func printTable(w io.Writer, groups []group) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, line := range tableCells(groups) {
		fmt.Fprintln(t, strings.Join(line, "\t"))
	}
	return t.Flush()
}

// writeSummary writes every column of every group as CSV.
func writeSummary(w io.Writer, groups []group) error {
	c := csv.NewWriter(w)
	head := []string{"population", "knob", "value"}
	for _, k := range columns() {
		head = append(head, k.name)
	}
	c.Write(head) // the Writer keeps the first error for Error
	for i := range groups {
		g := &groups[i]
		line := []string{g.population, g.knob, g.value}
		for _, k := range columns() {
			line = append(line, k.value(g, 4))
		}
		c.Write(line)
	}
	c.Flush()
	return c.Error()
}
