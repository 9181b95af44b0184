package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// write makes the folder and its files.
func write(o options, rows []outcome, groups []group, now time.Time) error {
	if err := os.MkdirAll(o.out, 0o755); err != nil {
		return err
	}
	plot, err := drawPlot(rows)
	if err != nil {
		return fmt.Errorf("plot: %w", err)
	}
	var photos, summary bytes.Buffer
	if err := writePhotos(&photos, rows); err != nil {
		return fmt.Errorf("photos.csv: %w", err)
	}
	if err := writeSummary(&summary, groups); err != nil {
		return fmt.Errorf("summary.csv: %w", err)
	}
	for name, data := range map[string][]byte{
		"photos.csv":   photos.Bytes(),
		"summary.csv":  summary.Bytes(),
		"summary.md":   markdown(o, groups, now, commit()),
		"accuracy.png": plot,
	} {
		if err := os.WriteFile(filepath.Join(o.out, name), data, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// commit names the source the figures belong to, "-dirty" when it was changed.
func commit() string {
	out, err := exec.Command("git", "describe", "--always", "--dirty").Output()
	if err != nil {
		return "unknown"
	}
	return strings.TrimSpace(string(out))
}

// command is what makes these figures again.
func (o options) command() string {
	c := fmt.Sprintf("go run ./cmd/accuracy --count %d --faults %d --pairs %d --tones %d --alike %d --seed %d --strata %s --out %s",
		o.count, o.faults, o.pairs, o.tones, o.alike, o.seed, strings.Join(o.names, ","), o.out)
	if o.taper {
		c = fmt.Sprintf("go run ./cmd/accuracy --taper --strata %s --count %d --seed %d --out %s", strings.Join(o.names, ","), o.count, o.seed, o.out)
	}
	if o.told != toldUsual {
		c += " --told " + string(o.told)
	}
	return c
}

// legend explains the table's columns.
const legend = `*right* is the share of photos that became what they should: read or, where the
fault demands it, refused for that fault (a damaged strip may also be flagged).
Errors are measured minus true, in percent of the true mean width, over the
photos that were read: median and 95th percentile of their size, bias (the median
with its sign), the worst one. *u* is the median standard uncertainty claimed.
*cover* is the share of readings whose interval of k = 2 holds the truth, about
95 % if the claim is right; *z sd* is the standard deviation of error over u, 1 if
it is right; *silent* counts errors above 3 % that the interval does not reach.
The reader is told the sheet's print scale, and of single photos the strip's
plane, so that they judge what pixels tell; *foreign-tone* has tone curves that the
reader does not expect; strips of *luma-alike* are about as light as their metal and of
another colour; *pair-one* is told nothing, as people often do, and shows what one photo
cannot know. *net* figures take the print's scale out of the error and out of u,
because no photo can show it. *taper*, in percent of the mean width too, compares
the width line's difference between the reading's own ends. *ends wrong* counts
readings whose front and rear are named the wrong way round. *marks* is the median
over photos of the root mean square distance between marks found and true, in
pixels.
`

// markdown returns the report for reading.
func markdown(o options, groups []group, now time.Time, commit string) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# Accuracy on rendered photos\n\nMade on %s from commit %s by\n\n    %s\n\n%s",
		now.Format(time.DateOnly), commit, o.command(), legend)
	for i, line := range tableCells(groups) {
		if i == 0 {
			continue
		}
		if g := &groups[i-1]; g.knob == "" {
			fmt.Fprintf(&b, "\n## %s\n\n", g.population)
			fmt.Fprintf(&b, "| %s |\n|%s\n", strings.Join(tableCells(nil)[0], " | "), strings.Repeat("---|", len(line)))
		}
		fmt.Fprintf(&b, "| %s |\n", strings.Join(line, " | "))
	}
	return b.Bytes()
}
