package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"potlifed/model/verify"
)

// verifyCommand judges a check, and records it where --record asks for it.
func verifyCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "verify scale|sensor",
		Short: "Judge a check of a scale with weights, or of a humidity sensor",
		Long: `verify judges a check by the published limits: a scale by OIML R 76 with weights by OIML R 111,
a humidity sensor over saturated salts (Greenspan 1977) or against a reference meter. It only
computes, unless --record names the scale or sensor: then the running service judges and records
the check, as "Check…" on the page /devices does. The exit code is 1 where the check failed, recorded
or not.

A check by the shop is no verification under legal metrology. Where a scale is used for trade,
follow your local rules.`,
		Example: `  potlifed verify scale --division-g 0.1 --capacity-g 600 --class III --load 100+50=150.0,150.1,150.0
  potlifed verify scale --record scale-1 --load 100+50=150,150,150 --note "certificate 2291"
  potlifed verify sensor --record bench-air --salt sodium-chloride
  potlifed verify sensor --accuracy-pct 2 --temperature 21 --salt magnesium-chloride=34.1 --salt sodium-chloride=79.0`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return usage("verify: want scale or sensor") },
	}
	c.AddCommand(verifyScaleCommand(), verifySensorCommand())
	return c
}

type verifyScaleOptions struct {
	divisionG, intervalG, capacityG float64
	class, weightClass              string
	loads                           []string
	json                            bool
}

func verifyScaleCommand() *cobra.Command {
	var o verifyScaleOptions
	var to recordOptions
	c := &cobra.Command{
		Use:   "scale --load WEIGHTS=READINGS",
		Short: "Judge a check of a scale with weights by OIML R 76",
		Args:  noArguments,
		RunE:  func(c *cobra.Command, _ []string) error { return runVerifyScale(c, o, to) },
	}
	to.flags(c, "scale")
	f := c.Flags()
	f.Float64Var(&o.divisionG, "division-g", 1, "division of the display in grams")
	f.Float64Var(&o.intervalG, "interval-g", 0, "verification scale interval e in grams; without it, the division")
	f.Float64Var(&o.capacityG, "capacity-g", 2000, "maximum capacity in grams")
	f.StringVar(&o.class, "class", "", "class of the scale: I, II, III or IIII; without it, III where possible")
	f.StringVar(&o.weightClass, "weight-class", "M1", "class of the weights by OIML R 111: E1, E2, F1, F2, M1, M2 or M3")
	f.StringArrayVar(&o.loads, "load", nil, "weights in grams and what the scale showed for them, as 100+50=150.0,150.1,150.0; repeatable")
	f.BoolVar(&o.json, "json", false, "print one JSON object")
	return c
}

func runVerifyScale(c *cobra.Command, o verifyScaleOptions, to recordOptions) error {
	var loads []verify.Load
	for _, text := range o.loads {
		l, err := parseLoad(text)
		if err != nil {
			return usage("verify scale: --load %q: %w", text, err)
		}
		l.Class = verify.WeightClass(o.weightClass)
		loads = append(loads, l)
	}
	if to.id != "" {
		return recordScale(c, o, to, loads)
	}
	if o.intervalG == 0 {
		o.intervalG = o.divisionG
	}
	out := c.OutOrStdout()
	s := verify.Scale{Class: verify.ScaleClass(o.class), EG: o.intervalG, DG: o.divisionG, MaxG: o.capacityG}
	if o.class == "" {
		s.Class, _ = verify.UsualClass(s.EG, s.MaxG)
	}
	r, err := s.Judge(loads)
	if err != nil {
		return usage("verify scale: %w", err)
	}
	if o.json {
		err = json.NewEncoder(out).Encode(struct {
			Class verify.ScaleClass `json:"class"`
			verify.ScaleResult
		}{s.Class, r})
	} else {
		_, err = fmt.Fprintf(out, "class %s, e = %g g, Max = %g g\n\n%s%s", s.Class, s.EG, s.MaxG, scaleTable(r), notRecorded)
	}
	return ended(err, "scale", r.Verdict != verify.Failed)
}

// errCheckFailed ends verify with the exit code 1: the check was made, and the instrument did not pass it.
var errCheckFailed = errors.New("the check failed")

// ended returns err, the fault of writing what was found; without one, errCheckFailed unless the
// instrument passed.
func ended(err error, what string, passed bool) error {
	if err == nil && !passed {
		return fmt.Errorf("verify %s: %w", what, errCheckFailed)
	}
	return err
}

// scaleTable writes the loads of a check, and the verdict.
func scaleTable(r verify.ScaleResult) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%10s %10s %12s %10s %10s %11s  %s\n", "load g", "error g", "U (k=2) g", "spread g", "initial g", "in service", "verdict")
	for _, l := range r.Loads {
		fmt.Fprintf(&b, "%10g %+10.3f %12.3f %10.3f %10.4g %11.4g  %s\n", l.LoadG, l.ErrorG, l.UncertaintyG, l.SpreadG, l.InitialG, l.InServiceG, l.Verdict)
		if l.CoarseWeights {
			fmt.Fprintf(&b, "           the weights may be off by %.3g g together: more than a third of the limit; use a better class\n", l.WeightsG)
		}
	}
	fmt.Fprintf(&b, "\n%s\n", map[verify.Verdict]string{
		verify.Passed: "Passed: within the limits of initial verification.", verify.InService: "Passed: within the limits in service, beyond those of initial verification.",
		verify.Failed: "Failed: beyond the limits in service. Level and adjust the scale by its manual, or have it serviced.",
	}[r.Verdict])
	return b.String()
}

// parseLoad reads "100+50=150.0,150.1".
func parseLoad(text string) (l verify.Load, err error) {
	weights, readings, found := strings.Cut(text, "=")
	if !found {
		return l, fmt.Errorf("want weights, =, and readings, as 100+50=150.0,150.1,150.0")
	}
	if l.WeightsG, err = figures(weights, "+"); err != nil {
		return l, err
	}
	l.ReadingsG, err = figures(readings, ",")
	return l, err
}

func figures(text, between string) (all []float64, err error) {
	for field := range strings.SplitSeq(text, between) {
		x, err := strconv.ParseFloat(strings.TrimSpace(field), 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, fmt.Errorf("%q: want a number", field)
		}
		all = append(all, x)
	}
	return all, nil
}

type verifySensorOptions struct {
	accuracyPct, meterPct, celsius float64
	salts, meters                  []string
	override                       string
	json                           bool
}

func verifySensorCommand() *cobra.Command {
	var o verifySensorOptions
	var to recordOptions
	c := &cobra.Command{
		Use:   "sensor --salt SALT=READING",
		Short: "Judge a check of a humidity sensor over salts or against a meter",
		Long:  "The salts are " + verify.SaltIDs() + ".",
		Args:  noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if to.id != "" {
				return recordSensor(c, o, to)
			}
			return runVerifySensor(o, c.OutOrStdout())
		},
	}
	to.flags(c, "sensor")
	f := c.Flags()
	f.StringVar(&o.override, "override", "", "with --record: why the point is recorded although the sensor has not come to rest over the salt")
	f.Float64Var(&o.accuracyPct, "accuracy-pct", 2, "accuracy of the sensor in % relative humidity")
	f.Float64Var(&o.meterPct, "meter-accuracy-pct", 1, "accuracy of the reference meter in % relative humidity")
	f.Float64Var(&o.celsius, "temperature", 20, "temperature of the salts in °C")
	f.StringArrayVar(&o.salts, "salt", nil, "a salt and what the sensor read over it in %, as sodium-chloride=74.1; repeatable")
	f.StringArrayVar(&o.meters, "meter", nil, "what the meter and the sensor read in %, as 48.2=50.1; repeatable")
	f.BoolVar(&o.json, "json", false, "print one JSON object")
	return c
}

// sensorPoint is a point of a check as it is printed.
type sensorPoint struct {
	Reference    string  `json:"reference"`
	ReferencePct float64 `json:"reference_pct"`
	ReadPct      float64 `json:"read_pct"`
	OffPct       float64 `json:"off_pct"`
	AllowedPct   float64 `json:"allowed_pct"`
	Passed       bool    `json:"passed"`
}

// sensorAnswer is what verify sensor prints with --json.
type sensorAnswer struct {
	Points     []sensorPoint            `json:"points"`
	Passed     bool                     `json:"passed"`
	Finding    verify.Finding           `json:"finding,omitempty"`
	Correction *verify.LinearCorrection `json:"correction,omitempty"`
}

func runVerifySensor(o verifySensorOptions, out io.Writer) error {
	points, rows, err := o.points()
	if err != nil {
		return usage("verify sensor: %w", err)
	}
	a := sensorAnswer{Points: rows, Passed: true}
	for _, p := range rows {
		a.Passed = a.Passed && p.Passed
	}
	if !a.Passed {
		a.Finding = verify.Find(points, o.allowed())
		if c, err := verify.Correct(points); err == nil && c.Fit() && a.Finding != verify.Solvent {
			a.Correction = &c
		}
	}
	if o.json {
		return ended(json.NewEncoder(out).Encode(a), "sensor", a.Passed)
	}
	var b strings.Builder
	b.WriteString(sensorTable(a.Points) + "\n" + sensorVerdict(a.Passed))
	switch {
	case a.Finding == verify.Solvent:
		b.WriteString("Low where it is humid and right where it is dry: solvent vapour has changed it. Keep it in clean air\nfor a day, check it again, and replace it if it still fails.\n")
	case a.Correction != nil:
		c := a.Correction
		fmt.Fprintf(&b, "Check it with --record, and accept this correction on the page /devices, or replace the sensor:\ncorrected = %+.2f %% + %.4f × reading; uncertain by ±%.1f %% at 50 %% (k = 2)\n", c.OffsetPct, c.Gain, 2*c.StandardPct(50))
	case !a.Passed:
		b.WriteString("No correction helps: replace the sensor.\n")
	}
	_, err = io.WriteString(out, b.String()+notRecorded)
	return ended(err, "sensor", a.Passed)
}

// sensorVerdict says whether a sensor passed. What to do where it did not follows it.
func sensorVerdict(passed bool) string {
	if passed {
		return "Passed: every point is within the accuracy allowed.\n"
	}
	return "Failed: at least one point is beyond the accuracy allowed.\n"
}

// notRecorded ends what is printed of a check that is only computed, so that nobody takes it for a record.
const notRecorded = "\nNot recorded. With --record ID, the running service judges and records the check of that instrument.\n"

// sensorTable writes the points of a check.
func sensorTable(points []sensorPoint) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%-22s %12s %8s %8s %9s\n", "reference", "should read", "reads", "error", "allowed")
	for _, p := range points {
		verdict := "failed"
		if p.Passed {
			verdict = "passed"
		}
		fmt.Fprintf(&b, "%-22s %10.1f %% %6.1f %% %+6.1f %% %7.1f %%  %s\n", p.Reference, p.ReferencePct, p.ReadPct, p.OffPct, p.AllowedPct, verdict)
	}
	return b.String()
}

func (o verifySensorOptions) allowed() float64 { return o.accuracyPct + 1 }

// points reads the flags.
func (o verifySensorOptions) points() (points []verify.Point, rows []sensorPoint, err error) {
	const repeatsPct = 0.6 // as the service takes it: the hysteresis of a usual sensor
	add := func(reference string, pct, standard, read float64) {
		off := read - pct
		points = append(points, verify.Point{RawPct: read, ReferencePct: pct, StandardPct: math.Hypot(standard, repeatsPct)})
		rows = append(rows, sensorPoint{reference, math.Round(100*pct) / 100, read, math.Round(100*off) / 100, o.allowed(), math.Abs(off) <= o.allowed()})
	}
	if !(o.accuracyPct > 0 && o.accuracyPct <= 20) || !(o.meterPct > 0 && o.meterPct <= 5) {
		return nil, nil, fmt.Errorf("--accuracy-pct %v, --meter-accuracy-pct %v: want figures above 0, at most 20 and 5", o.accuracyPct, o.meterPct)
	}
	for _, text := range o.salts {
		id, read, _ := strings.Cut(text, "=")
		salt, known := verify.FindSalt(id)
		if !known {
			return nil, nil, fmt.Errorf("--salt %q: want one of %s, = and a reading", text, verify.SaltIDs())
		}
		x, err := figures(read, ",")
		if err != nil || len(x) != 1 || x[0] < 0 || x[0] > 100 {
			return nil, nil, fmt.Errorf("--salt %q: want one reading from 0 to 100 behind =", text)
		}
		pct, standard, err := salt.HumidityPct(o.celsius)
		if err != nil {
			return nil, nil, fmt.Errorf("--salt %q: %w", text, err)
		}
		add(id, pct, standard, x[0])
	}
	for _, text := range o.meters {
		x, err := figures(text, "=")
		if err != nil || len(x) != 2 || min(x[0], x[1]) < 0 || max(x[0], x[1]) > 100 {
			return nil, nil, fmt.Errorf("--meter %q: want what the meter and the sensor read, from 0 to 100, as 48.2=50.1", text)
		}
		add("meter", x[0], o.meterPct/math.Sqrt(3), x[1])
	}
	if len(points) == 0 {
		return nil, nil, fmt.Errorf("no point: want --salt or --meter")
	}
	return points, rows, nil
}
