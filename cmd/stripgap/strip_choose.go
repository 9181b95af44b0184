package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"stripgap/calib"
	"stripgap/clearance"
)

func newStripChooseCommand() *cobra.Command {
	var spec, service string
	cmd := &cobra.Command{
		Use:   "choose --spec LO..HI",
		Short: "Rank strips by how well they cover a specification",
		Long: `choose ranks the strip lots that are known by how well their ranges cover the
limits of a bearing, and tells where a limit lies at a range's end: a clearance a
little beyond it is outside what the strip is made for and gets no verdict. Best
is a strip that covers the limits for new parts and for service, both well inside.

It also ranks the four spans that such strips are usually made for (common
practice, no source). What holds is the span printed on a strip's own sleeve.`,
		Example: `  stripgap strip choose --spec 0.020..0.050mm
  stripgap strip choose --spec 0.0010..0.0030in --service ..0.0045in`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			newParts, err := parseLimits("--spec", spec)
			if err != nil {
				return err
			}
			serviceLimits, err := parseLimits("--service", service)
			if err != nil {
				return err
			}
			if newParts == nil && serviceLimits == nil {
				return usagef("no limits given; say --spec, --service or both")
			}
			lots, err := knownLots()
			if err != nil {
				return err
			}
			return choose(cmd.OutOrStdout(), lots, newParts, serviceLimits)
		},
	}
	f := cmd.Flags()
	f.StringVar(&spec, "spec", "", "limits for new parts, `LO..HI` with a unit: 0.020..0.050mm")
	f.StringVar(&service, "service", "", "service limits, `LO..HI` with a unit: ..0.0045in")
	return cmd
}

// choose prints both rankings.
func choose(w io.Writer, lots []calib.Lot, newParts, service *clearance.Limits) error {
	if len(lots) == 0 {
		fmt.Fprintln(w, "No strip lot is known yet; see stripgap strip add --help")
	} else {
		spans, names := make([]clearance.Span, len(lots)), make([]string, len(lots))
		for i, l := range lots {
			spans[i], names[i] = clearance.Span{Lo: l.RangeLo, Hi: l.RangeHi}, l.Name
		}
		if err := printRanking(w, "LOT", names, clearance.RankSpans(spans, newParts, service)); err != nil {
			return err
		}
	}
	fmt.Fprintln(w, "\nSpans that strips are usually made for (common practice, no source):")
	spans := clearance.CommonSpans()
	names := make([]string, len(spans))
	for i := range spans {
		names[i] = "-"
	}
	ranked := clearance.RankSpans(spans, newParts, service)
	if err := printRanking(w, "", names, ranked); err != nil {
		return err
	}
	if !ranked[0].Covers() {
		fmt.Fprintln(w, "\nNo single span reaches every limit: judge new parts and service with strips of their own.")
	}
	return nil
}

// printRanking prints one line a span, the best first; head is empty where spans
// have no names.
func printRanking(w io.Writer, head string, names []string, ranked []clearance.SpanCover) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	if head != "" {
		fmt.Fprintf(t, "%s\t", head)
	}
	fmt.Fprintln(t, "RANGE mm\tin\tCOVERS\tLIMITS")
	for _, c := range ranked {
		if head != "" {
			fmt.Fprintf(t, "%s\t", names[c.Index])
		}
		fmt.Fprintf(t, "%.3f to %.3f\t%s\t%.0f %%\t%s\n", c.Span.Lo, c.Span.Hi, inchSpan(c.Span.Lo, c.Span.Hi), 100*c.Share, reachText(c))
	}
	return t.Flush()
}

// reachText tells each limit that is not well inside.
func reachText(c clearance.SpanCover) string {
	var words []string
	for _, l := range c.Limits {
		switch l.Reach {
		case clearance.ReachEnd:
			words = append(words, l.Name+" at the range's end")
		case clearance.ReachBeyond:
			words = append(words, l.Name+" out of range")
		}
	}
	if len(words) == 0 {
		return "all well inside"
	}
	return strings.Join(words, ", ")
}
