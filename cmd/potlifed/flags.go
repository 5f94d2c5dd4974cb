package main

import (
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// stateFlags are the two flags with which a command is told the air.
func stateFlags(c *cobra.Command, state *air.State) {
	c.Flags().Float64Var(&state.TemperatureC, "temperature", 0, "temperature of the air in °C, -40 to 85")
	c.Flags().Float64Var(&state.HumidityPct, "humidity", 0, "relative humidity in %, 0 to 100")
}

// stateGiven checks that the air was said, both parts of it, and is air.
func stateGiven(c *cobra.Command, state air.State) error {
	for _, name := range []string{"temperature", "humidity"} {
		if !c.Flags().Changed(name) {
			return usage("%s: --%s is missing; give both --temperature and --humidity", c.Name(), name)
		}
	}
	if err := state.Valid(); err != nil {
		return usage("%s: %w", c.Name(), err)
	}
	return nil
}

// sheetFlags are the flags with which a command is told the data sheet's pot life.
func sheetFlags(c *cobra.Command, sheet *cure.Sheet) {
	f := c.Flags()
	f.DurationVar(&sheet.Shortest, "shortest", 0, "shortest pot life of the data sheet, at the humid end")
	f.DurationVar(&sheet.Longest, "longest", 0, "longest pot life of the data sheet, at the dry end")
	f.DurationVar(&sheet.About, "about", 0, "the one figure of a data sheet that gives no range")
	f.Float64Var(&sheet.AtTemperatureC, "at", cure.DefaultSheetTemperatureC, "temperature of the data sheet's figures in °C")
	f.Float64Var(&sheet.DryPct, "dry", cure.DefaultDryPct, "relative humidity of the longest life in %")
	f.Float64Var(&sheet.HumidPct, "humid", cure.DefaultHumidPct, "relative humidity of the shortest life in %")
	f.Float64Var(&sheet.ActivationKJPerMol, "activation-kj-mol", cure.DefaultActivationKJPerMol, "activation energy of the reaction in kJ/mol, 25 to 90")
}

// calibrated is the ink of such flags.
func calibrated(c *cobra.Command, sheet cure.Sheet) (cure.Ink, error) {
	// The model takes these zeros for "not said"; here they were.
	if sheet.DryPct == 0 && sheet.HumidPct == 0 {
		return cure.Ink{}, usage("%s: --dry and --humid are both 0 %%; the humid end must be above the dry end", c.Name())
	}
	if sheet.ActivationKJPerMol == 0 {
		return cure.Ink{}, usage("%s: --activation-kj-mol 0: want 25 to 90", c.Name())
	}
	switch given := c.Flags().Changed; {
	case !given("shortest") && !given("longest") && !given("about"):
		return cure.Ink{}, usage("%s: --shortest and --longest are missing; give them, or --about for a data sheet with a single figure", c.Name())
	case given("shortest") != given("longest") && !given("about"):
		return cure.Ink{}, usage("%s: give both --shortest and --longest, or --about for a data sheet with a single figure", c.Name())
	}
	ink, err := sheet.Calibrate()
	if err != nil {
		return cure.Ink{}, usage("%s: %w", c.Name(), err)
	}
	return ink, nil
}

// sensorOf reads "0.3,2"; without it the air is taken as exact.
func sensorOf(c *cobra.Command, accuracy string) (cure.Sensor, error) {
	if accuracy == "" {
		return cure.Sensor{Exact: true}, nil
	}
	var values []float64
	for part := range strings.SplitSeq(accuracy, ",") {
		value, ok := plainNumber(part)
		if !ok || !(value >= 0 && value <= 50) {
			return cure.Sensor{}, usage("%s: --accuracy %q: %q is not a number from 0 to 50", c.Name(), accuracy, part)
		}
		values = append(values, value)
	}
	if len(values) != 2 {
		return cure.Sensor{}, usage("%s: --accuracy %q: want °C and %% RH, as 0.3,2", c.Name(), accuracy)
	}
	return cure.Sensor{TemperatureAccuracyC: values[0], HumidityAccuracyPct: values[1]}, nil
}

// plainNumber reads a number with a point.
func plainNumber(text string) (float64, bool) {
	value, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	return value, err == nil
}
