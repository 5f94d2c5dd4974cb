package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"

	"github.com/spf13/cobra"

	"potlifed/daemon/paper"
	"potlifed/model/air"
)

// airAnswer is what air prints with --json. A value that is not there, the dew point of air without water, is null.
type airAnswer struct {
	air.State
	SaturationPressurePa float64  `json:"saturation_pressure_pa"`
	VapourPressurePa     float64  `json:"vapour_pressure_pa"`
	DewPointC            *float64 `json:"dew_point_c"`
	VapourDensityGM3     float64  `json:"vapour_density_g_m3"`
}

func airProperties(s air.State) airAnswer {
	a := airAnswer{
		State:                s,
		SaturationPressurePa: air.SaturationPressurePa(s.TemperatureC),
		VapourPressurePa:     s.VapourPressurePa(),
		VapourDensityGM3:     s.VapourDensityGM3(),
	}
	if dew, ok := s.DewPointC(); ok {
		a.DewPointC = &dew
	}
	return a
}

func airCommand() *cobra.Command {
	var state air.State
	var asJSON, asCSV bool
	c := &cobra.Command{
		Use:   "air --temperature C --humidity PCT",
		Short: "Compute properties of moist air",
		Long: `air computes saturation pressure, vapour pressure, dew point and vapour density of air.
All are over water: below 0 °C over supercooled water, as humidity sensors measure it.

With --csv it reads rows of temperature_c,humidity_pct from standard input and writes
them with these four values added. Other columns are copied.`,
		Example: `  potlifed air --temperature 20 --humidity 50
  potlifed air --csv < readings.csv`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			given := c.Flags().Changed("temperature") || c.Flags().Changed("humidity")
			switch {
			case asCSV && (given || asJSON):
				return usage("air: --csv reads the air from standard input and writes CSV; leave out --temperature, --humidity and --json")
			case asCSV:
				return airTable(c.InOrStdin(), c.OutOrStdout())
			}
			if err := stateGiven(c, state); err != nil {
				return err
			}
			if asJSON {
				return json.NewEncoder(c.OutOrStdout()).Encode(airProperties(state))
			}
			return airText(c.OutOrStdout(), airProperties(state))
		},
	}
	c.SetFlagErrorFunc(flagFault)
	stateFlags(c, &state)
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	c.Flags().BoolVar(&asCSV, "csv", false, "read and write CSV")
	return c
}

func airText(to io.Writer, a airAnswer) error {
	dew := "none, the air holds no water"
	if a.DewPointC != nil {
		dew = fmt.Sprintf("%.2f °C", *a.DewPointC)
	}
	water := ""
	if a.TemperatureC < 0 {
		water = " (over supercooled water)"
	}
	_, err := fmt.Fprintf(to, `temperature          %.2f °C
relative humidity    %.2f %%
saturation pressure  %.2f Pa%s
vapour pressure      %.2f Pa
dew point            %s
vapour density       %.3f g/m³
`, a.TemperatureC, a.HumidityPct, a.SaturationPressurePa, water, a.VapourPressurePa, dew, a.VapourDensityGM3)
	return err
}

// airTable adds the four columns to CSV. Rows before a wrong one have been written when it is found.
func airTable(from io.Reader, to io.Writer) (err error) {
	defer func() { err = paperFault(err) }()
	table, err := paper.Open("standard input", from, "temperature_c", "humidity_pct")
	if err != nil {
		return err
	}
	out := csv.NewWriter(to)
	defer func() {
		out.Flush()
		err = errors.Join(err, out.Error())
	}()
	added := []string{"saturation_pressure_pa", "vapour_pressure_pa", "dew_point_c", "vapour_density_g_m3"}
	for _, column := range added {
		if table.Has(column) {
			return usage("standard input: row 1: the column %s is there already", column)
		}
	}
	if err := out.Write(append(table.Header, added...)); err != nil {
		return fmt.Errorf("write: %w", err)
	}
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	for {
		record, err := table.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		state, err := table.State(record)
		if err != nil {
			return err
		}
		a, dew := airProperties(state), ""
		if a.DewPointC != nil {
			dew = number(*a.DewPointC)
		}
		record = append(record, number(a.SaturationPressurePa), number(a.VapourPressurePa), dew, number(a.VapourDensityGM3))
		if err := out.Write(record); err != nil {
			return fmt.Errorf("write: %w", err)
		}
	}
}
