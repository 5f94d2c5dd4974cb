package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// writeLife is the table for people, with what it rests on.
func writeLife(to io.Writer, o lifeOptions, ink cure.Ink, a air.State, answer lifeAnswer) error {
	var b strings.Builder
	if answer.lifeAlong != nil {
		writeAlong(&b, o, answer.lifeAlong)
	}
	fmt.Fprintf(&b, "Pot life in still air of %.1f °C and %.1f %%, hours after the first hardener\n", a.TemperatureC, a.HumidityPct)
	fmt.Fprintf(&b, "  nominal        %6.2f h\n", answer.LifeH.Nominal)
	fmt.Fprintf(&b, "  low            %6.2f h   safe to this: a tenth of all batches are over\n", answer.LifeH.Low)
	fmt.Fprintf(&b, "  expected       %6.2f h   half of them\n", answer.LifeH.Expected)
	fmt.Fprintf(&b, "  high           %6.2f h   nine tenths\n", answer.LifeH.High)
	fmt.Fprintf(&b, "  spent          %6.2f %% an hour, %.0f %% of it by moisture\n", 100*answer.SpentPerH, 100*answer.MoistureShare)
	if answer.Dehumidifier != nil {
		writeDried(&b, answer)
	}
	if answer.Explained != nil {
		writeExplained(&b, *answer.Explained)
	}
	for _, caution := range answer.Cautions {
		fmt.Fprintf(&b, "\nCaution: %s\n", caution)
	}
	writeAssumptions(&b, o, ink)
	_, err := io.WriteString(to, b.String())
	return err
}

// writeDried sets the same batch in dried air beside it.
func writeDried(b *strings.Builder, answer lifeAnswer) {
	dried := answer.Dehumidifier
	fmt.Fprintf(b, "\nThe same batch with a dehumidifier that lets no more than %g %% pass\n", dried.HumidityPct)
	for _, row := range []struct {
		name         string
		before, with float64
	}{
		{"nominal", answer.LifeH.Nominal, dried.LifeH.Nominal},
		{"low", answer.LifeH.Low, dried.LifeH.Low},
		{"expected", answer.LifeH.Expected, dried.LifeH.Expected},
		{"high", answer.LifeH.High, dried.LifeH.High},
	} {
		fmt.Fprintf(b, "  %-14s %6.2f h   %+.2f h\n", row.name, row.with, row.with-row.before)
	}
	fmt.Fprintf(b, "  spent          %6.2f %% an hour, %.0f %% of it by moisture\n", 100*dried.SpentPerH, 100*dried.MoistureShare)
	if dried.lifeAlong == nil {
		return
	}
	for _, row := range []struct {
		name         string
		before, with time.Time
	}{
		{"nominal end", answer.EndsAt.Nominal, dried.EndsAt.Nominal},
		{"low", answer.EndsAt.Low, dried.EndsAt.Low},
		{"expected", answer.EndsAt.Expected, dried.EndsAt.Expected},
		{"high", answer.EndsAt.High, dried.EndsAt.High},
	} {
		fmt.Fprintf(b, "  %-14s %s   %+.0f min\n", row.name, clockTime(row.with), row.with.Sub(row.before).Minutes())
	}
	fmt.Fprintf(b, "  spent          %.1f %% at %s\n", 100*dried.Spent, clockTime(dried.SpentAt))
}

// clockTime is an instant to the second.
func clockTime(t time.Time) string { return t.Round(time.Second).Format(time.RFC3339) }

func writeAlong(b *strings.Builder, o lifeOptions, along *lifeAlong) {
	fmt.Fprintf(b, "Along the climate, mixed at %s\n", o.mixedAt)
	fmt.Fprintf(b, "  nominal end    %s\n", clockTime(along.EndsAt.Nominal))
	fmt.Fprintf(b, "  low            %s\n", clockTime(along.EndsAt.Low))
	fmt.Fprintf(b, "  expected       %s\n", clockTime(along.EndsAt.Expected))
	fmt.Fprintf(b, "  high           %s\n", clockTime(along.EndsAt.High))
	fmt.Fprintf(b, "  spent          %.1f %% at %s\n", 100*along.Spent, clockTime(along.SpentAt))
	fmt.Fprintf(b, "  longest time between two rows in use %g min, taken as a straight line\n", along.LongestGapS/60)
	if along.AssumedFrom != nil {
		fmt.Fprintf(b, "  Not every end lies within the record: after %s the last air is taken to stay.\n", clockTime(*along.AssumedFrom))
	}
	b.WriteString("\n")
}

func writeAssumptions(b *strings.Builder, o lifeOptions, ink cure.Ink) {
	// A figure that was not said is an assumption and is called one.
	origin := func(flags ...string) string {
		for _, flag := range flags {
			if !o.given(flag) {
				return " (assumed)"
			}
		}
		return ""
	}
	b.WriteString("\nIt rests on\n")
	if o.sheet.About != 0 {
		fmt.Fprintf(b, "  data sheet: about %g h at %g °C%s and 50 %% (assumed), moisture's share %.0f %% there (assumed)\n",
			o.sheet.About.Hours(), o.sheet.AtTemperatureC, origin("at"), 100*ink.MoistureShare)
	} else {
		fmt.Fprintf(b, "  data sheet: %g h at %g %% and %g h at %g %%%s, both at %g °C%s\n", o.sheet.Longest.Hours(), o.sheet.DryPct,
			o.sheet.Shortest.Hours(), o.sheet.HumidPct, origin("dry", "humid"), o.sheet.AtTemperatureC, origin("at"))
	}
	fmt.Fprintf(b, "  activation energy %g kJ/mol%s, exposure %g%s\n", o.sheet.ActivationKJPerMol, origin("activation-kj-mol"),
		o.exposure, origin("exposure"))
	if o.climate != "" {
		fmt.Fprintf(b, "  the cup follows the air with a lag of %g min%s\n", o.lag.Minutes(), origin("lag"))
	}
	if o.given("dehumidifier") {
		b.WriteString("  dehumidifier: the temperature stays, it works wherever and for as long as the batch stands, and never adds water\n")
		if o.drift {
			b.WriteString("  the drift starts from the dried air\n")
		}
	}
	counted := "the ink alone"
	if o.accuracy != "" {
		counted += ", the sensor's error"
	}
	if o.drift {
		counted += ", the air's drift"
	}
	fmt.Fprintf(b, "  low, expected and high count what is not known about %s\n", counted)
	b.WriteString("\nAn estimate of the time within the maker's pot life, not of adhesion. The ink maker's data sheet decides.\n")
}
