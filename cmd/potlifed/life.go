package main

import (
	"encoding/json"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/paper"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// lifeOptions are the flags of life.
type lifeOptions struct {
	sheet    cure.Sheet
	air      air.State
	exposure float64
	accuracy string
	drift    bool
	climate  string
	zone     string
	mixedAt  string
	until    string
	lag      time.Duration
	dried    float64
	explain  bool
	grams    float64
	json     bool

	given func(flag string) bool // whether a flag was said
}

func lifeCommand() *cobra.Command {
	var o lifeOptions
	c := &cobra.Command{
		Use:   "life (--shortest 4h30m --longest 5h30m | --about 14h) --temperature C --humidity PCT",
		Short: "Compute the pot life of an ink in still air, or along a recorded climate",
		Long: `life computes how long an ink lives after the first hardener: in air that does not
change, or along a recorded climate (--climate, --mixed-at).

nominal is 1/rate with every parameter at its centre. low, expected and high are the
times at which a tenth, half and nine tenths of all batches have ended, given what is
not known about the ink. --accuracy adds the error of the sensor, --drift the change of
the air. An exposure below 1 and a lag have uncertainties of their own. --grams lets a
fast ink, of less than 3 h, warm itself: low comes earlier.

With a climate, ends_at follows the whole record, and after its end the last air.
life_h and the rate are then for constant air, that of the last row or of --until, unless
--temperature and --humidity are given. The CSV of the API's history of the air can be
used as it is.

--dehumidifier computes the same batch a second time, at the same temperature, in air
whose humidity never exceeds that level.

The result is an estimate of the time within the maker's pot life, not of adhesion. The
ink maker's data sheet decides.`,
		Example: `  potlifed life --shortest 4h30m --longest 5h30m --temperature 24 --humidity 55
  potlifed life --shortest 4h30m --longest 5h30m --temperature 24 --humidity 75 --dehumidifier 45
  potlifed life --about 14h --climate room.csv --mixed-at 2026-06-12T08:00:00+02:00 --lag 25m`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			o.given = c.Flags().Changed
			return runLife(c, o)
		},
	}
	c.SetFlagErrorFunc(flagFault)
	f := c.Flags()
	sheetFlags(c, &o.sheet)
	stateFlags(c, &o.air)
	f.Float64Var(&o.exposure, "exposure", 1, "how open the cup is: 1 in use, about 0.5 loosely covered")
	f.StringVar(&o.accuracy, "accuracy", "", "accuracy of the sensor in °C and % RH, as 0.3,2: adds the sensor's error")
	f.BoolVar(&o.drift, "drift", false, "let the air drift away from its last value")
	f.StringVar(&o.climate, "climate", "", "CSV file of time,temperature_c,humidity_pct, such as the history of the air that the API serves; - is standard input")
	f.StringVar(&o.zone, "zone", "", "zone of the climate, for a file with the air of several")
	f.StringVar(&o.mixedAt, "mixed-at", "", "time of the first hardener, within the climate, as 2026-06-12T08:00:00+02:00")
	f.StringVar(&o.until, "until", "", "time up to which the spent life is given; default: the climate's end")
	f.DurationVar(&o.lag, "lag", 25*time.Minute, "time constant of the cup along a climate; 0 for none")
	f.Float64Var(&o.dried, "dehumidifier", 0, "compute the batch also in air that never exceeds this relative humidity, in %")
	f.Float64Var(&o.grams, "grams", 0, "mass of the mix in g: an ink of less than 3 h warms itself, the more the larger the mix")
	f.BoolVar(&o.explain, "explain", false, "say where the width of the band comes from, and what would make it narrower")
	f.BoolVar(&o.json, "json", false, "print one JSON object")
	return c
}

// lifeHours are lives in hours; lifeTimes the same as instants.
type lifeHours struct {
	Nominal  float64 `json:"nominal"`
	Expected float64 `json:"expected"`
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
}

type lifeTimes struct {
	Nominal  time.Time `json:"nominal"`
	Expected time.Time `json:"expected"`
	Low      time.Time `json:"low"`
	High     time.Time `json:"high"`
}

// lifeFigures are what life says of a batch in one air.
type lifeFigures struct {
	LifeH         lifeHours `json:"life_h"`
	SpentPerH     float64   `json:"spent_per_h"`
	MoistureShare float64   `json:"moisture_share"`
	*lifeAlong
	Explained *cure.Explained `json:"explained,omitempty"`
}

// lifeAnswer is what life prints with --json.
type lifeAnswer struct {
	lifeFigures
	Cautions     []string   `json:"cautions,omitempty"`
	Dehumidifier *driedLife `json:"dehumidifier,omitempty"`
}

// driedLife is the same batch with --dehumidifier.
type driedLife struct {
	HumidityPct float64 `json:"humidity_pct"` // never passed
	lifeFigures
}

func runLife(c *cobra.Command, o lifeOptions) error {
	ink, sensor, err := o.check(c)
	if err != nil {
		return err
	}
	var record paper.Climate
	if o.climate != "" {
		if record, err = o.openClimate(c.InOrStdin()); err != nil {
			return err
		}
	}
	var answer lifeAnswer
	var stillAir air.State
	if answer.lifeFigures, stillAir, err = o.figures(ink, sensor, o.air, record); err != nil {
		return err
	}
	if o.given("dehumidifier") {
		dried := driedLife{HumidityPct: o.dried}
		if dried.lifeFigures, _, err = o.figures(ink, sensor, paper.DriedAir(o.air, o.dried), record.Dried(o.dried)); err != nil {
			return err
		}
		if dried.lifeAlong != nil {
			dried.LongestGapS = answer.LongestGapS // as recorded: drying adds rows
		}
		answer.Dehumidifier = &dried
	}
	answer.Cautions = cautionsOf(ink, stillAir)
	if o.json {
		return json.NewEncoder(c.OutOrStdout()).Encode(answer)
	}
	return writeLife(c.OutOrStdout(), o, ink, stillAir, answer)
}

// figures are the batch's life in still air and along the record, if there is one; and what the still air was.
func (o lifeOptions) figures(ink cure.Ink, sensor cure.Sensor, still air.State, record paper.Climate) (lifeFigures, air.State, error) {
	var along *lifeAlong
	if record != nil {
		var err error
		if along, err = o.alongClimate(record, ink, sensor); err != nil {
			return lifeFigures{}, air.State{}, err
		}
		if !o.given("temperature") {
			still = along.lastAir
		}
	}
	figures := lifeInStillAir(ink, sensor, o, still)
	figures.lifeAlong = along
	return figures, still, nil
}

// check turns the flags into an ink and a sensor, and refuses what contradicts itself.
func (o lifeOptions) check(c *cobra.Command) (cure.Ink, cure.Sensor, error) {
	fail := func(err error) (cure.Ink, cure.Sensor, error) { return cure.Ink{}, cure.Sensor{}, err }
	ink, err := calibrated(c, o.sheet)
	if err != nil {
		return fail(err)
	}
	if !(o.exposure > 0 && o.exposure <= 1) {
		return fail(usage("life: --exposure %v: want above 0 and at most 1", o.exposure))
	}
	if o.given("grams") && !(o.grams > 0 && o.grams <= 1e6) {
		return fail(usage("life: --grams %v: want a mass above 0", o.grams))
	}
	if o.lag < 0 || o.lag > 24*time.Hour {
		return fail(usage("life: --lag %v: want 0 to 24h", o.lag))
	}
	if o.given("dehumidifier") && !(o.dried >= 0 && o.dried <= 100) {
		return fail(usage("life: --dehumidifier %v: want a relative humidity from 0 to 100 %%", o.dried))
	}
	sensor, err := sensorOf(c, o.accuracy)
	if err != nil {
		return fail(err)
	}
	if o.climate == "" {
		for _, flag := range []string{"mixed-at", "until", "lag", "zone"} {
			if o.given(flag) {
				return fail(usage("life: --%s works only with --climate", flag))
			}
		}
	} else if o.mixedAt == "" {
		return fail(usage("life: --mixed-at is missing; with --climate, give the time of the first hardener"))
	}
	if err := o.stillAirGiven(); err != nil {
		return fail(err)
	}
	return ink.OfMass(o.grams), sensor, nil
}

// stillAirGiven: without a climate the air must be said; with one it may be.
func (o lifeOptions) stillAirGiven() error {
	if o.climate != "" && !o.given("temperature") && !o.given("humidity") {
		return nil
	}
	for _, flag := range []string{"temperature", "humidity"} {
		if !o.given(flag) {
			return usage("life: --%s is missing; give both --temperature and --humidity, or --climate", flag)
		}
	}
	if err := o.air.Valid(); err != nil {
		return usage("life: %w", err)
	}
	return nil
}

// outlook is what the forecasts of this call assume.
func (o lifeOptions) outlook() []cure.ForecastOption {
	if o.drift {
		return nil
	}
	return []cure.ForecastOption{cure.WithoutDrift()}
}

// lifeInStillAir is a fresh batch in air that stands still, its cup as warm as the air.
func lifeInStillAir(ink cure.Ink, sensor cure.Sensor, o lifeOptions, a air.State) lifeFigures {
	place := cure.Place{Exposure: o.exposure}
	still := cure.StillAir(ink, place, a)
	ensemble := cure.New(ink, sensor, 0, a)
	ends := ensemble.Forecast(place, a, 0, o.outlook()...)
	var explained *cure.Explained
	if o.explain {
		if e, ok := ensemble.Explain(place, a, 0, 0, o.outlook()...); ok {
			explained = &e
		}
	}
	return lifeFigures{
		Explained:     explained,
		LifeH:         lifeHours{Nominal: still.LifeH, Expected: ends.Expected.Hours(), Low: ends.Low.Hours(), High: ends.High.Hours()},
		SpentPerH:     still.SpentPerH,
		MoistureShare: still.MoistureShare,
	}
}
