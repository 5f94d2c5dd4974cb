package study

import (
	"errors"
	"io"
	"math"
	"strings"

	"potlifed/daemon/paper"
	"potlifed/model/air"
	"potlifed/model/quality"
)

// Read adds a file of CSV or JSON lines to the table: prints (time, press, prints), rejects (time, press, kind,
// defects), both in one file, or batches (id and closed_at or mixed_at). name is what errors call
// the file. Other columns are ignored, but for those of a condition, bench, batch and ink. The
// error is a [*paper.FormatError], with row and column, when the file is not right.
func (t *Table) Read(name string, from io.Reader) error {
	table, err := paper.Open(name, from)
	if err != nil {
		return err
	}
	f := file{Table: table}
	switch {
	case table.Has("press") && f.time() != "" && (table.Has("prints") || table.Has("kind") && table.Has("defects")):
		return f.each(func(record []string) error { return f.counts(record, t) })
	case table.Has("id") && (table.Has("closed_at") || table.Has("mixed_at")):
		return f.each(func(record []string) error { return f.mix(record, t) })
	}
	return paper.Wrong("%s: row 1: want the columns time,press,prints or time,press,kind,defects, or id,closed_at of batches; found %s", name, strings.Join(table.Header, ","))
}

type file struct{ *paper.Table }

// time returns the column with the begin of the span.
func (f file) time() string {
	for _, column := range []string{"time", "minute"} {
		if f.Has(column) {
			return column
		}
	}
	return ""
}

func (f file) each(take func(record []string) error) error {
	for {
		record, err := f.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil {
			err = take(record)
		}
		if err != nil {
			return err
		}
	}
}

// mostPieces is the largest count of a row: no press prints more in a quarter of an hour.
const mostPieces = 1e7

// counts adds a row of prints, rejects or both.
func (f file) counts(record []string, t *Table) error {
	at, err := f.Instant(record, f.time())
	if err != nil {
		return err
	}
	c := Counts{Bench: f.Text(record, "bench"), Press: f.Text(record, "press"), Batch: f.Text(record, "batch"), Ink: f.Text(record, "ink"), At: at}
	if c.Press == "" {
		return f.Fault("press", "no value; want the id of a press")
	}
	if c.Conditions, err = f.conditions(record); err != nil {
		return err
	}
	prints := math.NaN()
	if f.Text(record, "prints") != "" {
		if prints, err = f.whole(record, "prints", 0); err != nil {
			return err
		}
		c.Pieces = prints
		t.Add(c)
	}
	kind := f.Text(record, "kind")
	if kind == "" {
		if f.Text(record, "defects") != "" {
			return f.Fault("kind", "no value; want the kind of the defects")
		}
		if math.IsNaN(prints) {
			return f.Fault("prints", "no value; want prints, or a kind with its defects")
		}
		return nil
	}
	if c.Kind = kind; kind == All {
		return f.Fault("kind", "%q is the name of all kinds together; want one kind a row", kind)
	}
	if c.Pieces, err = f.whole(record, "defects", -mostPieces); err != nil {
		return err
	}
	if c.Pieces > prints {
		return f.Fault("defects", "%.0f defects among %.0f prints; want at most one for each print", c.Pieces, prints)
	}
	t.Add(c)
	return nil
}

func (f file) whole(record []string, column string, least float64) (float64, error) {
	n, err := f.Number(record, column, least, mostPieces)
	if err == nil && n != math.Trunc(n) {
		err = f.Fault(column, "%v is not a whole number", n)
	}
	return n, err
}

// optional returns a number, NaN where the column is missing or the cell is empty.
func (f file) optional(record []string, column string, least, most float64) (float64, error) {
	if f.Text(record, column) == "" {
		return math.NaN(), nil
	}
	return f.Number(record, column, least, most)
}

// limits of the columns of conditions. Spent life may be beyond the nominal end.
var limits = []struct {
	factor      quality.Factor
	column      string
	least, most float64
}{
	{quality.VapourDensity, "vapour_density_g_m3", 0, 600},
	{quality.RelativeHumidity, "humidity_pct", air.MinHumidityPct, air.MaxHumidityPct},
	{quality.Temperature, "temperature_c", air.MinTemperatureC, air.MaxTemperatureC},
	{quality.SpentLife, "spent", 0, 1000},
	{quality.Thinner, "thinner_pct", 0, 1000},
	{quality.RatioError, "ratio_off_pct", -100, 10000},
}

func (f file) conditions(record []string) (quality.Conditions, error) {
	c := Unknown()
	for _, l := range limits {
		x, err := f.optional(record, l.column, l.least, l.most)
		if err != nil {
			return c, err
		}
		c[l.factor] = x
	}
	return withVapour(c), nil
}

// withVapour completes conditions: the vapour density from temperature and humidity where it is
// not known, and the ratio's deviation without its sign.
func withVapour(c quality.Conditions) quality.Conditions {
	if math.IsNaN(c[quality.VapourDensity]) { // NaN stays NaN
		c[quality.VapourDensity] = air.State{TemperatureC: c[quality.Temperature], HumidityPct: c[quality.RelativeHumidity]}.VapourDensityGM3()
	}
	c[quality.RatioError] = math.Abs(c[quality.RatioError])
	return c
}

// mix adds a row of a batch.
func (f file) mix(record []string, t *Table) error {
	m := Mix{Bench: f.Text(record, "bench"), Batch: f.Text(record, "id"), Ink: f.Text(record, "ink")}
	if m.Batch == "" {
		return f.Fault("id", "no value; want the id of a batch")
	}
	for _, column := range []string{"closed_at", "mixed_at"} {
		if f.Text(record, column) == "" || !m.At.IsZero() {
			continue
		}
		at, err := f.Instant(record, column)
		if err != nil {
			return err
		}
		m.At = at
	}
	if m.At.IsZero() {
		return f.Fault("id", "the batch has no time; want closed_at or mixed_at")
	}
	var err error
	if m.ThinnerPct, err = f.optional(record, "thinner_pct", 0, 1000); err != nil {
		return err
	}
	if m.RatioOffPct, err = f.optional(record, "ratio_off_pct", -100, 10000); err != nil {
		return err
	}
	t.addMix(m)
	return nil
}
