package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/paper"
	"potlifed/daemon/table"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/jars"
	"potlifed/model/verify"
)

// jarsOptions are the flags of jars.
type jarsOptions struct {
	sheet   cure.Sheet
	jars    []string
	noise   float64
	look    time.Duration
	form    bool
	ink     string
	results string
	json    bool
}

// usualJars are two salts at two temperatures.
var usualJars = []string{"20:magnesium-chloride", "20:sodium-chloride", "35:magnesium-chloride", "35:sodium-chloride"}

func jarsCommand() *cobra.Command {
	var o jarsOptions
	c := &cobra.Command{
		Use:   "jars (--shortest 4h30m --longest 5h30m | --about 14h) [--jar TEMPERATURE:AIR]...",
		Short: "Plan and judge a one-day test of an ink in jars",
		Long: `jars plans a test that tells in a day how an ink's pot life depends on temperature and
humidity: one mix, shared among jars that stand at different temperatures over saturated
salts, or in different rooms. It prints, before anything is poured, when each jar is
expected to end and how surely the test will tell the activation energy and the moisture
share. Parts of one mix share its scatter, so four jars of one mix tell more than four
batches.

A jar is TEMPERATURE:SALT or TEMPERATURE:PERCENT, as 35:sodium-chloride or 22:48. Salts:
` + verify.SaltIDs() + `.

--form prints a CSV form. Write into it after how many hours from the first hardener
each jar was last seen good and first seen gone off, and read it with --results. Leave
gone_off_h empty for a jar that was still good when you looked last. Write also the ink's
id, when the first hardener went into the mix, as 2026-06-12T08:30:00+02:00, and yes under
open for a part that stood open and was stirred as in use: with these, "potlifed import"
takes the same form, and the test then counts for what the shop learns of the ink.
--results takes each jar as closed.

Limits: a jar is still air over still ink. A stirred cup, or one on a press, takes up more
moisture. Let one part stand at the bench for comparison.

Cautions: catalysed ink in a closed jar may give off gas; put lids on loosely and never
screw them tight. Hardener with isocyanates and solvents: wear gloves and eye protection,
and ventilate. Do not warm ink with solvents on a heater or near a spark. Salts: do not
swallow, keep them off the scale. The ink maker's data sheet and local codes decide.`,
		Example: `  potlifed jars --shortest 6h --longest 8h
  potlifed jars --shortest 6h --longest 8h --ink dial-satin --form >jars.csv
  potlifed jars --shortest 6h --longest 8h --results jars.csv
  potlifed import jars.csv`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return runJars(c, o) },
	}
	c.SetFlagErrorFunc(flagFault)
	f := c.Flags()
	sheetFlags(c, &o.sheet)
	f.StringArrayVar(&o.jars, "jar", usualJars, "temperature in °C and salt or relative humidity in % of a jar; once for each jar")
	f.Float64Var(&o.noise, "scatter", 100*jars.DefaultNoise, "scatter of the life from jar to jar of one mix, in %")
	f.DurationVar(&o.look, "look", 10*time.Minute, "how often you look at the jars")
	f.BoolVar(&o.form, "form", false, "print a CSV form for the results")
	f.StringVar(&o.ink, "ink", "", "`id` of the ink, for the form: import needs it")
	f.StringVar(&o.results, "results", "", "the filled-in form; - is standard input")
	f.BoolVar(&o.json, "json", false, "print one JSON object")
	return c
}

func runJars(c *cobra.Command, o jarsOptions) error {
	if o.ink != "" && !o.form {
		return usage("jars: --ink is the ink of the form; give --form too")
	}
	ink, err := calibrated(c, o.sheet)
	if err != nil {
		return err
	}
	if o.results != "" {
		return judgeJars(c, ink, o)
	}
	var all []jars.Jar
	for _, text := range o.jars {
		j, err := jarOf(text)
		if err != nil {
			return usage("jars: --jar %q: %w", text, err)
		}
		all = append(all, j)
	}
	if !(o.look > 0 && o.look <= 24*time.Hour) {
		return usage("jars: --look %v: want more than 0, at most 24h", o.look)
	}
	plan, err := jars.Expect(ink, all, o.noise/100, o.look)
	switch {
	case err != nil:
		return usage("jars: %w", err)
	case o.form:
		return writeForm(c.OutOrStdout(), all, o)
	case o.json:
		return json.NewEncoder(c.OutOrStdout()).Encode(plan)
	}
	return writeJars(c.OutOrStdout(), o, plan)
}

// jarOf reads a jar as 35:sodium-chloride or 22:48.
func jarOf(text string) (jars.Jar, error) {
	celsius, of, ok := strings.Cut(text, ":")
	temperature, isNumber := plainNumber(celsius)
	if !ok || !isNumber {
		return jars.Jar{}, errors.New("want a temperature in °C, a colon, and a salt or a relative humidity in %")
	}
	j := jars.Jar{Mix: "1", Air: air.State{TemperatureC: temperature}}
	if pct, is := plainNumber(of); is {
		j.Air.HumidityPct = pct
	} else {
		salt, known := verify.FindSalt(of)
		if !known {
			return jars.Jar{}, fmt.Errorf("%q is neither a relative humidity nor one of %s", of, verify.SaltIDs())
		}
		var err error
		if j.Air.HumidityPct, _, err = salt.HumidityPct(temperature); err != nil {
			return jars.Jar{}, err
		}
	}
	return j, j.Air.Valid()
}

func writeJars(to io.Writer, o jarsOptions, p jars.Plan) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%-4s %9s %9s   %s\n", "jar", "°C", "% RH", "look from, expected end, until: hours after the first hardener")
	for i, j := range p.Jars {
		fmt.Fprintf(&b, "%-4d %9.1f %9.1f   %5.1f  %5.1f  %5.1f   %s\n", i+1, j.Air.TemperatureC, j.Air.HumidityPct, j.LowH, j.ExpectedH, j.HighH, o.jars[i])
	}
	fmt.Fprintf(&b, "\nHow surely the test tells, looked at every %g minutes (standard deviations)\n", o.look.Minutes())
	writeSpreads(&b, p.Before, p.After, p.Apart)
	b.WriteString("\nMake one mix and share it among the jars, with loose lids. One jar in ten ends before \"look from\".\n" + jarsCare + "For limits and more cautions: potlifed jars --help\n")
	_, err := io.WriteString(to, b.String())
	return err
}

// jarsCare stands under the plan itself: who reads it pours next.
const jarsCare = `Put lids on loosely and never screw them tight: catalysed ink in a closed jar may give off gas.
Wear gloves and eye protection, and ventilate. Do not warm ink with solvents on a heater or near a spark.
`

func writeSpreads(b *strings.Builder, before, after, apart jars.Spreads) {
	for _, row := range []struct {
		name string
		of   jars.Spreads
	}{{"by the data sheet", before}, {"with the jars", after}, {"if each jar were a mix of its own", apart}} {
		fmt.Fprintf(b, "  %-34s activation energy ± %.1f kJ/mol, moisture share ± %.3f\n", row.name, row.of.ActivationKJPerMol, row.of.MoistureShare)
	}
}

// writeForm writes a line for each jar, as [paper.JarColumns] names the columns.
func writeForm(to io.Writer, all []jars.Jar, o jarsOptions) error {
	w := csv.NewWriter(to)
	rows := [][]string{paper.JarColumns}
	for i, j := range all {
		_, salt, _ := strings.Cut(o.jars[i], ":")
		if _, isNumber := plainNumber(salt); isNumber {
			salt = ""
		}
		rows = append(rows, []string{
			strconv.Itoa(i + 1), salt, table.Harmless(o.ink), "", j.Mix, strconv.FormatFloat(j.Air.TemperatureC, 'f', 1, 64), strconv.FormatFloat(j.Air.HumidityPct, 'f', 1, 64), "", "", "",
		})
	}
	return w.WriteAll(rows)
}

func judgeJars(c *cobra.Command, ink cure.Ink, o jarsOptions) error {
	results, err := readFrom("jars", o.results, "--results", c.InOrStdin(), paper.ReadJars)
	if err != nil {
		return err
	}
	told, err := jars.Fit(ink, results, o.noise/100)
	if err != nil {
		return usage("jars: %s: %w", o.results, err)
	}
	if o.json {
		return json.NewEncoder(c.OutOrStdout()).Encode(told)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "activation energy %.1f kJ/mol\nmoisture share    %.3f of the pot life at 20 °C and 50 %%\nlife              %.2f of the data sheet's, of this mix\n\nHow surely (standard deviations)\n",
		told.ActivationKJPerMol, told.MoistureShare, told.LifeFactor)
	writeSpreads(&b, told.Before, told.After, told.Apart)
	b.WriteString("\njar   °C     % RH   good    gone off  life over the fitted one\n")
	for i, r := range results {
		mark := ""
		if off := told.Residuals[i]; off > 0.15 || off < -0.15 {
			mark = "   look at this figure again"
		}
		fmt.Fprintf(&b, "%-4d %5.1f  %5.1f  %6s  %6s    %+.1f %%%s\n", i+1, r.Air.TemperatureC, r.Air.HumidityPct, seenAfter(r.LastGoodH), seenAfter(r.EndedH), 100*told.Residuals[i], mark)
	}
	b.WriteString("\nA jar is still air over still ink: the share is that of such a surface. Use the activation energy as\nactivation_kj_mol of the ink, if the test was done as planned.\n")
	_, err = io.WriteString(c.OutOrStdout(), b.String())
	return err
}

// seenAfter writes after how many hours a jar was seen so; a dash where it never was.
func seenAfter(hours float64) string {
	if hours == 0 {
		return "-"
	}
	return strconv.FormatFloat(hours, 'f', 2, 64)
}
