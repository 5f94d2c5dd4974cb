package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"potlifed/model/cure"
	"potlifed/model/learn"
)

// learnAnswer is what learn prints with --json.
type learnAnswer struct {
	Inks               []learnedInk `json:"inks"`
	Prior              string       `json:"prior"`
	NotInConfiguration []strangers  `json:"not_in_configuration,omitempty"`
}

// strangers are batches of an ink that the configuration does not have.
type strangers struct {
	Ink     string `json:"ink"`
	Batches int    `json:"batches"`
}

// learnedInk is the answer for one ink. The parameters are absent when there is a fault.
type learnedInk struct {
	Ink                string             `json:"ink"`
	Hardener           string             `json:"hardener,omitempty"`
	LRefH              *learn.Estimate    `json:"l_ref_h,omitempty"`
	MoistureShare      *learn.Estimate    `json:"moisture_share,omitempty"`
	ActivationKJPerMol *learn.Estimate    `json:"activation_kj_mol,omitempty"`
	Sigma              *learn.Estimate    `json:"sigma,omitempty"`
	LifeRatio          *learn.Estimate    `json:"life_ratio,omitempty"`
	LogLikelihood      *float64           `json:"log_likelihood,omitempty"`
	Ends               int                `json:"ends"`
	Censored           int                `json:"censored"`
	CensoredShare      float64            `json:"censored_share"`
	LeftOut            int                `json:"left_out"`
	LeftOutRows        []learn.LeftOut    `json:"left_out_rows"`
	Differences        []learn.Difference `json:"differences"`
	LongestGapS        float64            `json:"longest_gap_s"`
	Sheet              cure.Ink           `json:"sheet"`
	SheetAssumed       bool               `json:"sheet_assumed"`
	LongerThanSheet    bool               `json:"longer_than_sheet"`
	Proposed           *cure.Ink          `json:"proposed,omitempty"`
	Verdict            string             `json:"verdict"`
	Cautions           []string           `json:"cautions"`
	Fault              string             `json:"fault,omitempty"`
}

func learnedInkOf(r learn.Result, longestGap time.Duration) learnedInk {
	l := learnedInk{
		Ink: r.Ink, Hardener: r.Hardener, Ends: r.Ends, Censored: r.Censored, CensoredShare: r.CensoredShare(),
		LeftOut: len(r.LeftOut), LeftOutRows: append([]learn.LeftOut{}, r.LeftOut...), Differences: append([]learn.Difference{}, r.Differences...), LongestGapS: longestGap.Seconds(), Sheet: r.Sheet,
		SheetAssumed: r.Assumed, LongerThanSheet: r.LongerThanSheet, Verdict: r.Verdict(), Cautions: append([]string{}, r.Cautions()...), Fault: r.Fault,
	}
	if r.Fault != "" {
		return l
	}
	l.LRefH, l.MoistureShare, l.ActivationKJPerMol, l.Sigma = &r.LRefH, &r.MoistureShare, &r.ActivationKJPerMol, &r.Sigma
	l.LifeRatio, l.LogLikelihood = &r.LifeRatio, &r.LogLikelihood
	if !r.PriorNone {
		l.Proposed = &r.Posterior
	}
	return l
}

// writeLearned is the table for people.
func writeLearned(to io.Writer, answer learnAnswer) error {
	var b strings.Builder
	for _, ink := range answer.Inks {
		writeLearnedInk(&b, ink)
	}
	for _, stranger := range answer.NotInConfiguration {
		fmt.Fprintf(&b, "%s is not an ink of the configuration: its %d batches were not used.\n\n", stranger.Ink, stranger.Batches)
	}
	if answer.Prior == "none" {
		b.WriteString("From the records alone, without the data sheet; not for use.\n")
	}
	b.WriteString("Nothing has changed: a person has to accept the result, which then holds for batches mixed afterwards.\n" +
		"Batches that were used up may not be a fair sample. An estimate of the time within the maker's pot life, not of adhesion.\n")
	_, err := io.WriteString(to, b.String())
	return err
}

func writeLearnedInk(b *strings.Builder, ink learnedInk) {
	fmt.Fprintf(b, "%s\n  %s.\n", ink.Ink, ink.Verdict)
	if ink.SheetAssumed {
		fmt.Fprintf(b, "  No data sheet was given: life %.2f h at %g °C and 50 %%, and its doubt, are assumed. Give --config, --shortest and --longest, or --about.\n",
			ink.Sheet.LRefH, ink.Sheet.AtTemperatureC)
	}
	if ink.Fault == "" {
		b.WriteString("\n                                value       se   90 % interval\n")
		writeEstimate(b, "life at 20 °C and 50 %, h", *ink.LRefH, 2)
		writeEstimate(b, "moisture share there", *ink.MoistureShare, 3)
		writeEstimate(b, "activation energy, kJ/mol", *ink.ActivationKJPerMol, 1)
		writeEstimate(b, "batch-to-batch spread", *ink.Sigma, 3)
		fmt.Fprintf(b, "\n  log-likelihood %.4f, %.0f %% of the batches censored\n", *ink.LogLikelihood, 100*ink.CensoredShare)
	}
	if ink.LongestGapS > 0 {
		fmt.Fprintf(b, "  longest time between two rows of air in use %g min, taken as a straight line\n", ink.LongestGapS/60)
	}
	for _, caution := range ink.Cautions {
		fmt.Fprintf(b, "  %s\n", caution)
	}
	if len(ink.Differences) > 0 {
		b.WriteString("  Life of groups of batches, that of the others being 1\n")
	}
	for _, d := range ink.Differences[:min(len(ink.Differences), mostGroupsShown)] {
		mark := ""
		if d.Unusual {
			mark = "   unusual"
		}
		fmt.Fprintf(b, "    %-13s %-14s %.2f ± %.2f, %d batches, %d ends%s\n", d.By, d.Group, d.LifeRatio, d.LifeRatio*d.LnSE, d.Batches, d.Ends, mark)
	}
	if len(ink.LeftOutRows) > 0 {
		b.WriteString("  Left out\n")
	}
	for _, left := range ink.LeftOutRows {
		fmt.Fprintf(b, "    %s: %s\n", left.ID, left.Why)
	}
	b.WriteString("\n")
}

// mostGroupsShown bounds the groups in the text; --json has more.
const mostGroupsShown = 6

// writeEstimate is a line of the table.
func writeEstimate(b *strings.Builder, what string, e learn.Estimate, decimals int) {
	state := "still assumed"
	if e.Learned {
		state = "learned"
	}
	if e.SE == nil || e.Interval == nil {
		fmt.Fprintf(b, "  %-27s %8.*f        -   not shown by the records   %s\n", what, decimals, e.Value, state)
		return
	}
	fmt.Fprintf(b, "  %-27s %8.*f %8.*f   %.*f to %.*f   %s\n", what, decimals, e.Value, decimals, *e.SE, decimals, e.Interval[0], decimals, e.Interval[1], state)
}
