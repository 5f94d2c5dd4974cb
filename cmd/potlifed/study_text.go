package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode/utf8"

	"potlifed/daemon/study"
	"potlifed/model/quality"
)

// writeStudy writes an answer for people.
func writeStudy(to io.Writer, a study.Answer) error {
	var b strings.Builder
	b.WriteString(wrapped(a.Headline) + "\n\n")
	for _, s := range a.Sentences {
		b.WriteString(wrapped(s) + "\n")
	}
	writeCounted(&b, a)
	for _, c := range a.Curves {
		if c.Kind == study.All && c.Factor == quality.VapourDensity.String() || a.Threshold != nil && c.Kind == a.Threshold.Kind && c.Factor == quality.VapourDensity.String() {
			writeBins(&b, c)
		}
	}
	if a.Prints > 0 {
		writeEffects(&b, a)
	}
	_, err := io.WriteString(to, b.String())
	return err
}

const studyWidth = 90

// wrapped breaks a sentence into lines.
func wrapped(text string) string {
	var b strings.Builder
	width := 0
	for i, word := range strings.Split(text, " ") { // not Fields, which also splits at a no-break space
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case width+1+n > studyWidth:
			b.WriteString("\n")
			width = -1
		default:
			b.WriteString(" ")
		}
		b.WriteString(word)
		width += 1 + n
	}
	return b.String()
}

func writeCounted(b *strings.Builder, a study.Answer) {
	if a.From == nil {
		b.WriteString("\nThere are no prints and no rejects in what was read.\n")
		return
	}
	const minute = "2006-01-02 15:04"
	span := a.From.Local().Format(minute) + " to " + a.To.Local().Format(minute)
	if a.Prints == 0 {
		fmt.Fprintf(b, "\nno prints, %.0f rejects, %s\n", a.Unexposed, span)
		return
	}
	fmt.Fprintf(b, "\n%.0f prints, %.0f rejects, %d batches, %d days, %s\n", a.Prints, a.Defects, a.Batches, a.Days, span)
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "rejects\tper 1000 prints\t95 % interval\t  kind\t")
	for _, t := range a.Totals {
		fmt.Fprintf(w, "%.0f\t%.3g\t%.3g to %.3g\t  %s\t\n", t.Defects, 1000*t.Rate, 1000*t.Low, 1000*t.High, study.PlainKind(t.Kind))
	}
	w.Flush()
}

func writeBins(b *strings.Builder, c study.Curve) {
	if len(c.Bins) == 0 {
		return
	}
	fmt.Fprintf(b, "\n%s: rejects, %s\n", c.Title, study.PlainKind(c.Kind))
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "from\tto\tprints\trejects\tper 1000 prints\t95 % interval\t")
	for _, n := range c.Bins {
		fmt.Fprintf(w, "%.4g\t%.4g\t%.0f\t%.0f\t%.3g\t%.3g to %.3g\t\n", n.Low, n.High, n.Prints, n.Defects, 1000*n.Rate, 1000*n.RateLow, 1000*n.RateHigh)
	}
	w.Flush()
}

// writeEffects writes the effects by condition. Those that were found are marked.
func writeEffects(b *strings.Builder, a study.Answer) {
	factor, first := "", 0
	for i, e := range a.Effects {
		if e.Factor != factor {
			factor, first = e.Factor, i
			fmt.Fprintf(b, "\n%s\n", a.Curves[i].Title)
		} else if e.Reason == quality.NoPrints && a.Effects[first].Reason == quality.NoPrints {
			continue // a condition that was not recorded is said of all kinds together
		}
		mark := " "
		if e.Firm {
			mark = "*"
		}
		line := e.Words
		if e.Figures != "" {
			line += " " + e.Figures
		}
		fmt.Fprintf(b, "%s %s\n", mark, line)
	}
	b.WriteString("\n* found: p below 0.05 after correction, of enough days or batches. Water vapour is corrected by itself, all other\nconditions together. In brackets: the 95 % interval.\n")
}
