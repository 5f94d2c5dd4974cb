package paper

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/air"
	"potlifed/model/cure"
)

func closeTo(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v ± %v", what, got, want, tolerance)
	}
}

// isFormat reports whether an error is a fault of the file.
func isFormat(err error) bool {
	var wrong *FormatError
	return errors.As(err, &wrong)
}

// one reads the only climate of a file.
func one(text string) (Climate, error) {
	all, err := ReadClimates("room.csv", strings.NewReader(text))
	if err != nil {
		return nil, err
	}
	return all.One("", "--zone")
}

// servedHistory is the air of a zone as the API serves it, with a jump at 10:00.
const servedHistory = "time,zone,temperature_c,humidity_pct,dew_point_c,vapour_density_g_m3,quality\n" +
	"2026-06-12T08:00:00Z,bench,20,50,9.27,8.65,good\n2026-06-12T10:00:00.5Z,bench,20,50,9.27,8.65,good\n" +
	"2026-06-12T10:00:00.5Z,bench,20,80,16.45,13.83,uncertain\n2026-06-12T12:00:00Z,bench,20,80,,13.83,bad\n"

// TestHistoryOfTheAir: of two rows at one instant the first holds before it, the second from
// it on. In paper records such rows are a slip.
func TestHistoryOfTheAir(t *testing.T) {
	c, err := one(servedHistory)
	if err != nil || len(c) != 4 {
		t.Fatalf("%v, %v", c, err)
	}
	jump := c[1].At
	before, after := c.From(jump.Add(-time.Second))[0].Air, c.From(jump.Add(time.Second))[0].Air
	closeTo(t, "humidity before the jump", before.HumidityPct, 50, 1e-9)
	closeTo(t, "humidity after the jump", after.HumidityPct, 80, 1e-9)
	ink, err := cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}.Calibrate() // common practice, no source
	if err != nil {
		t.Fatal(err)
	}
	life := c.Live(ink, cure.Place{Exposure: 1}, cure.Sensor{Exact: true}, c.Start(), c.End())
	// Two hours at 50 % and two at 80 %, half a second apart, by the ends of the data sheet:
	// 1/8 an hour at 30 % and 1/6 at 80 %, linear between.
	rate := func(pct float64) float64 { return 1.0/8 + (1.0/6-1.0/8)*(pct-30)/50 }
	half := 0.5 / 3600
	closeTo(t, "spent", life.Spent, rate(50)*(2+half)+rate(80)*(2-half), 1e-6)
	if _, err := one(strings.ReplaceAll(servedHistory, ",quality\n", ",remark\n")); !isFormat(err) || !strings.Contains(err.Error(), "row 4, column time: 2026-06-12T10:00:00.5Z is there twice") {
		t.Errorf("a record of somebody else's: %v", err)
	}
}

// goodBatches is a file of paper records.
const goodBatches = "id,ink,mixed_at,closed_at,outcome,still_good,last_good_at,zone\n" +
	"0612-1,dial-satin,2026-06-12T08:00:00Z,2026-06-12T14:00:00Z,went-off,,,bench\n" +
	"0612-2,dial-flat,2026-06-12T08:00:00Z,2026-06-12T14:00:00Z,used-up,yes,,bench\n" +
	"0612-3,dial-flat,2026-06-12T08:00:00Z,2026-06-12T14:00:00Z,discarded,unknown,2026-06-12T12:00:00Z,bench\n"

// A look between two rows: the batch's two ages, not the rows'.
func TestLookBetweenRows(t *testing.T) {
	air := "time,zone,temperature_c,humidity_pct\n2026-06-12T08:00:00Z,bench,20,50\n2026-06-12T20:00:00Z,bench,20,50\n"
	batches := "id,ink,mixed_at,closed_at,outcome,last_good_at\n0612-1,dial-satin,2026-06-12T08:30:00Z,2026-06-12T16:00:00Z,went-off,2026-06-12T14:45:00Z\n"
	read, err := ReadBatches("batches", strings.NewReader(batches))
	if err != nil {
		t.Fatal(err)
	}
	climates, err := ReadClimates("air", strings.NewReader(air))
	if err != nil {
		t.Fatal(err)
	}
	one, why := newRecorded(climates.of["bench"]).walk(read.rows[0], 25*time.Minute)
	if why != "" {
		t.Fatal(why)
	}
	closeTo(t, "hours at the look", one.From.Hours(), 6.25, 1e-9)
	closeTo(t, "hours at the end", one.To.Hours(), 7.5, 1e-9)
	ink, err := cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}.Calibrate() // common practice, no source
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "dose at the end", one.To.Dose(ink), 7.5/ink.LRefH, 1e-6)
}

func FuzzReadBatches(f *testing.F) {
	f.Add(goodBatches)
	f.Add("id,ink,mixed_at,closed_at,outcome\na,b,2026-06-12T08:00:00Z,2026-06-12T08:00:00Z,used-up\n")
	f.Fuzz(func(t *testing.T, text string) {
		read, err := ReadBatches("fuzz", strings.NewReader(text))
		if err != nil {
			if !isFormat(err) {
				t.Fatalf("not the reader's own fault: %v", err)
			}
			return
		}
		for _, b := range read.rows {
			if b.id == "" || b.ink == "" || !b.account.ClosedAt.After(b.account.MixedAt) || b.silent == "" && !(b.evidence.To > b.evidence.From) {
				t.Fatalf("%+v", b)
			}
		}
	})
}

func TestClimateErrorsNameRowAndColumn(t *testing.T) {
	const head = "time,temperature_c,humidity_pct\n"
	for _, row := range []struct{ text, want string }{
		{"", "the file is empty"},
		{head, "no rows of air below the header"},
		{head + "2026-06-12T08:00:00Z,20,50\n", "one row of air; want at least two, the start and the end"},
		{"time,humidity_pct\n", "row 1: no column temperature_c"},
		{"time,zone,batch,temperature_c,humidity_pct\n", "row 1: columns zone and batch"},
		{"time,batch,temperature_c,humidity_pct\n2026-06-12T08:00:00Z,a,20,50\n2026-06-12T09:00:00Z,a,20,50\n", "row 1: a column batch"},
		{"time,zone,temperature_c,humidity_pct\n2026-06-12T08:00:00Z,,20,50\n", "row 2, column zone: no value"},
		{head + "2026-06-12 08:00,20,50\n", "row 2, column time"},
		{head + "2026-06-12T08:00:00Z,20,50\n2026-06-12T08:00:00Z,21,50\n", "row 3, column time: 2026-06-12T08:00:00Z is there twice"},
		{head + "2026-06-12T08:00:00Z,20,50\n2026-06-12T09:30:00+02:00,21,50\n", "row 3, column time: 2026-06-12T09:30:00+02:00 comes after"},
		{head + "2026-06-12T08:00:00Z,20,50\n2026-06-12T09:00:00Z,20,100.1\n", "row 3, column humidity_pct: 100.1 is outside 0 to 100"},
		{head + "2026-06-12T08:00:00Z,20,50\n2026-06-12T09:00:00Z,20,-1\n", "row 3, column humidity_pct: -1 is outside"},
		{head + "2026-06-12T08:00:00Z,20,50\n2026-06-12T09:00:00Z,,50\n", "row 3, column temperature_c: no value"},
		{head + "2026-06-12T08:00:00Z,20,50\n2026-06-12T09:00:00Z,NaN,50\n", "row 3, column temperature_c"},
		{head + "2026-06-12T08:00:00Z,20,50\n2026-06-12T09:00:00Z,20\n", "row 3: not as many values"},
		{head + "0001-06-12T08:00:00Z,20,50\n", "row 2, column time: the year"},
	} {
		_, err := one(row.text)
		if !isFormat(err) || !strings.Contains(err.Error(), "room.csv: ") || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%q: %v, want %q", row.text, err, row.want)
		}
	}
}

func FuzzReadClimates(f *testing.F) {
	f.Add(servedHistory)
	f.Add("\xef\xbb\xbftime,temperature_c,humidity_pct,note\r\n2026-06-12T08:00:00Z,20,50,\"a\nb\"\r\n2026-06-12T09:00:00+02:00,20,50,\r\n")
	f.Add("time,temperature_c,humidity_pct\n,,\n")
	f.Fuzz(func(t *testing.T, text string) {
		rows, err := one(text)
		if err != nil {
			if !isFormat(err) {
				t.Fatalf("not a fault of the file: %v", err)
			}
			return
		}
		if len(rows) < 2 {
			t.Fatalf("%d rows", len(rows))
		}
		for i, row := range rows {
			if row.Air.Valid() != nil || i > 0 && row.At.Before(rows[i-1].At) {
				t.Fatalf("row %d: %+v", i, row)
			}
		}
		middle := rows.Start().Add(rows.End().Sub(rows.Start()) / 2)
		if first := rows.From(middle)[0]; first.Air.Valid() != nil || !first.At.Equal(middle) {
			t.Fatalf("air at %v is %+v", middle, first)
		}
	})
}

// At every instant the dried climate is the climate with its humidity cut off.
func TestDriedClimateAtAnyInstant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var c Climate
		at := time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)
		for range rapid.IntRange(2, 10).Draw(t, "rows") {
			c = append(c, Row{at, air.State{
				TemperatureC: rapid.Float64Range(-40, 85).Draw(t, "temperature"),
				HumidityPct:  float64(rapid.IntRange(0, 100).Draw(t, "humidity")),
			}})
			at = at.Add(time.Duration(rapid.IntRange(1, 10_000_000).Draw(t, "ms")) * time.Millisecond)
		}
		level := float64(rapid.IntRange(0, 100).Draw(t, "level"))
		dried := c.Dried(level)
		for i := 1; i < len(dried); i++ {
			if !dried[i].At.After(dried[i-1].At) {
				t.Fatalf("rows %d and %d: %v, %v", i-1, i, dried[i-1].At, dried[i].At)
			}
		}
		if !dried.Start().Equal(c.Start()) || !dried.End().Equal(c.End()) {
			t.Fatalf("%v to %v", dried.Start(), dried.End())
		}
		when := c.Start().Add(time.Duration(rapid.Float64Range(0, 1).Draw(t, "f") * float64(c.End().Sub(c.Start()))))
		got, want := dried.From(when)[0].Air, DriedAir(c.From(when)[0].Air, level)
		// A row's instant is whole nanoseconds; in a row of a millisecond the humidity moves by 1e-4 % in one.
		if math.Abs(got.HumidityPct-want.HumidityPct) > 2e-4 || math.Abs(got.TemperatureC-want.TemperatureC) > 3e-4 {
			t.Fatalf("at %v %+v, want %+v", when, got, want)
		}
	})
}

// TestWhatTheHistoryServes is read as a climate: the air as it was recorded, and means of intervals.
func TestWhatTheHistoryServes(t *testing.T) {
	for _, text := range []string{
		"time,zone,temperature_c,humidity_pct,dew_point_c,vapour_density_g_m3,quality\n2026-06-12T09:00:00Z,bench,20,40,6,7,good\n2026-06-12T09:00:00Z,bench,21,40,6,7,good\n2026-06-12T09:10:00Z,bench,20,40,6,7,good\n",
		"time,to,local,zone,sensor,source,temperature_c,temperature_low_c,temperature_high_c,humidity_pct,quality\n2026-06-12T09:00:00Z,2026-06-12T09:15:00Z,2026-06-12T11:00:00+02:00,bench,,bench,20,19,21,40,good\n2026-06-12T09:15:00Z,2026-06-12T09:30:00Z,2026-06-12T11:15:00+02:00,bench,,bench,20,19,21,40,good\n",
	} {
		if rows, err := one(text); err != nil || len(rows) < 2 {
			t.Errorf("%v: %v", rows, err)
		}
	}
}

// TestSemicolons are refused with what to do.
func TestSemicolons(t *testing.T) {
	_, err := one("time;temperature_c;humidity_pct\n2026-06-12T09:00:00Z;20,5;40\n")
	if !isFormat(err) || !strings.Contains(err.Error(), "separated by semicolons") {
		t.Error(err)
	}
}
