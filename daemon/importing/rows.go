package importing

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"

	"potlifed/daemon/excerpt"
	"potlifed/daemon/history"
	"potlifed/daemon/paper"
	"potlifed/model/air"
	"potlifed/model/learn"
	"potlifed/model/lifecycle"
)

// Limits of a row.
const (
	mostPieces = 10_000_000 // no press prints more in a row's time
	longestID  = 64
	mostG      = 100_000
)

// reader reads the rows of one file.
type reader struct {
	*paper.Table
	known Known
	to    sink
	last  map[string]time.Time // by zone or press
	jars  jarMixes
}

// read reads a file, whose columns say what is in it, and gives its rows to a sink.
func read(ctx context.Context, name string, from io.Reader, known Known, to sink) (what string, rows int64, err error) {
	table, err := paper.Open(name, from)
	if err != nil {
		return "", 0, err
	}
	r := &reader{Table: table, known: known, to: to, last: map[string]time.Time{}, jars: jarMixes{mixes: map[jarMix]*jarsOfMix{}}}
	what, row := r.what()
	if row == nil {
		return "", 0, paper.Wrong("%s: row 1: want the columns time,zone,temperature_c,humidity_pct of air, id,ink,mixed_at,closed_at,outcome of batches, "+
			"ink,mixed_at,temperature_c,humidity_pct,last_good_h,gone_off_h of jars, time,press,prints, or time,press,kind,defects; found %s", name, strings.Join(table.Header, ","))
	}
	for {
		record, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if rows%1000 == 0 && err == nil {
			err = ctx.Err()
		}
		if err == nil {
			err = r.owner(record)
		}
		if err == nil {
			err = row(record)
		}
		if err != nil {
			return what, rows, err
		}
		rows++
	}
	if rows == 0 {
		return what, 0, paper.Wrong("%s: no rows below the header", name)
	}
	if what == "jars" && !r.jars.looked {
		return what, 0, paper.Wrong("%s: no row has last_good_h or gone_off_h; want at least one jar that somebody looked at", name)
	}
	return what, rows, nil
}

// what tells by the columns what is in the file.
func (r *reader) what() (string, func([]string) error) {
	has := func(columns ...string) bool {
		return !slices.ContainsFunc(columns, func(c string) bool { return !r.Has(c) })
	}
	switch {
	case has("id", "ink", "mixed_at", "closed_at", "outcome"):
		return "batches", r.batch
	case has("ink", "mixed_at", "temperature_c", "humidity_pct", "last_good_h", "gone_off_h"):
		return "jars", r.jar
	case has("time", "press", "kind", "defects"):
		return "defects", r.count
	case has("time", "press", "prints"):
		return "prints", r.count
	case has("time", "zone", "temperature_c", "humidity_pct"):
		return "air", r.air
	}
	return "", nil
}

// owner refuses rows that a bench recorded itself, in an export.
func (r *reader) owner(record []string) error {
	if bench := r.Text(record, "bench"); bench != "" && bench != r.known.Bench {
		return r.Fault("bench", "the row is of %s, and this is %s; potlifed study reads exports of several benches as they are", shown(bench), r.known.Bench)
	}
	if r.Text(record, "source") == string(history.Measured) {
		return r.Fault("source", "the bench recorded this row itself; only rows of paper records are imported")
	}
	return nil
}

// at reads the column time, whose rows must come in the order of time for each zone or press.
func (r *reader) at(record []string, of string, again bool) (time.Time, error) {
	at, err := r.Instant(record, "time")
	if err != nil {
		return at, err
	}
	if at.After(r.known.Now.Add(24 * time.Hour)) {
		return at, r.Fault("time", "%s is in the future", r.Text(record, "time"))
	}
	last := r.last[of]
	if at.Before(last) {
		return at, r.Fault("time", "%s comes after %s; the rows of %s must be in the order of time", r.Text(record, "time"), last.Format(time.RFC3339), of)
	}
	if at.Equal(last) && !again {
		return at, r.Fault("time", "%s is there twice for %s", r.Text(record, "time"), of)
	}
	r.last[of] = at
	return at, nil
}

// oneOf reads an id that must be known.
func (r *reader) oneOf(record []string, column, thing string, known []string) (string, error) {
	id := r.Text(record, column)
	if id == "" {
		return "", r.Fault(column, "no value; want one of %s", strings.Join(known, ", "))
	}
	if !slices.Contains(known, id) {
		return "", r.Fault(column, "there is no %s %s in the configuration; it has %s", thing, shown(id), strings.Join(known, ", "))
	}
	return id, nil
}

// id reads the id of a batch or an ink, which need not be known.
func (r *reader) id(record []string, column string) (string, error) {
	id := r.Text(record, column)
	if len(id) > longestID || strings.ContainsFunc(id, unicode.IsControl) {
		return "", r.Fault(column, "%s is no id; want at most %d characters", shown(id), longestID)
	}
	return id, nil
}

// shown quotes text of a file, shortened.
func shown(text string) string { return fmt.Sprintf("%q", excerpt.Short(text)) }

// sunk names the row for an error of the sink.
func (r *reader) sunk(column string, err error) error {
	if errors.Is(err, history.ErrImported) || errors.Is(err, history.ErrMeasured) {
		return r.Fault(column, "%w; nothing was changed", err)
	}
	return err
}

func (r *reader) air(record []string) error {
	zone, err := r.oneOf(record, "zone", "zone", r.known.Zones)
	if err != nil {
		return err
	}
	at, err := r.at(record, zone, false)
	if err != nil || r.Text(record, "quality") == "bad" { // there was no reading
		return err
	}
	a, err := r.State(record)
	if err != nil {
		return err
	}
	return r.sunk("time", r.to.air(r.Place(), zone, history.Reading{At: at, Air: a}))
}

func (r *reader) count(record []string) error {
	press, err := r.oneOf(record, "press", "press", r.known.Presses)
	if err != nil {
		return err
	}
	p := history.Pieces{Press: press}
	if p.At, err = r.at(record, press, true); err != nil {
		return err
	}
	if p.Batch, err = r.id(record, "batch"); err != nil {
		return err
	}
	if p.Conditions, err = r.conditions(record); err != nil {
		return err
	}
	prints := int64(-1)
	if r.Has("prints") && r.Text(record, "prints") != "" {
		if prints, err = r.whole(record, "prints"); err != nil {
			return err
		}
		if prints > 0 {
			p.Number = prints
			if err := r.sunk("prints", r.to.count(r.Place(), p)); err != nil {
				return err
			}
		}
	}
	if !r.Has("defects") || !r.Has("kind") {
		if prints < 0 {
			return r.Fault("prints", "no value; want the number of prints")
		}
		return nil
	}
	return r.rejects(record, p, prints)
}

// rejects reads what a row says of rejects; prints is -1 where it says nothing of prints.
func (r *reader) rejects(record []string, p history.Pieces, prints int64) error {
	if prints >= 0 && r.Text(record, "kind") == "" && r.Text(record, "defects") == "" {
		return nil
	}
	var err error
	if p.Kind, err = r.oneOf(record, "kind", "kind of defect", r.known.Kinds); err != nil {
		return err
	}
	if p.Number, err = r.whole(record, "defects"); err != nil {
		return err
	}
	if prints >= 0 && p.Number > prints {
		return r.Fault("defects", "%d rejects among %d prints", p.Number, prints)
	}
	if p.Number == 0 {
		return nil
	}
	return r.sunk("defects", r.to.count(r.Place(), p))
}

func (r *reader) whole(record []string, column string) (int64, error) {
	n, err := r.Number(record, column, 0, mostPieces)
	if err == nil && n != math.Trunc(n) {
		err = r.Fault(column, "%v is not a whole number", n)
	}
	return int64(n), err
}

// optional reads a number; nil where the column is missing or the cell is empty.
func (r *reader) optional(record []string, column string, least, most float64) (*float64, error) {
	if r.Text(record, column) == "" {
		return nil, nil
	}
	n, err := r.Number(record, column, least, most)
	return &n, err
}

// conditions reads what a row says of the spent life and the air.
func (r *reader) conditions(record []string) (c history.Conditions, err error) {
	return c, r.numbers(record, []numberColumn{
		{"spent", &c.Spent, 0, 1000}, {"age_s", &c.AgeS, 0, 1e8},
		{"temperature_c", &c.TemperatureC, air.MinTemperatureC, air.MaxTemperatureC}, {"humidity_pct", &c.HumidityPct, air.MinHumidityPct, air.MaxHumidityPct},
	})
}

// numberColumn is a column with a number that may be missing.
type numberColumn struct {
	column      string
	to          **float64
	least, most float64
}

func (r *reader) numbers(record []string, columns []numberColumn) (err error) {
	for _, c := range columns {
		if *c.to, err = r.optional(record, c.column, c.least, c.most); err != nil {
			return err
		}
	}
	return nil
}

func (r *reader) batch(record []string) error {
	b := history.Batch{Outcome: lifecycle.Outcome(r.Text(record, "outcome")), StillGood: lifecycle.StillGood(r.Text(record, "still_good"))}
	var err error
	for _, id := range []struct {
		column string
		to     *string
	}{{"id", &b.ID}, {"ink", &b.Ink}, {"cup", &b.Cup}, {"colour_class", &b.Colour}, {"artwork", &b.Artwork}, {"poured_into", &b.PouredInto}, {"lots", &b.Lots}} {
		if *id.to, err = r.id(record, id.column); err != nil {
			return err
		}
	}
	if b.ID == "" || b.Ink == "" {
		return r.Fault("id", "no value for id or ink")
	}
	for _, known := range []struct {
		column, thing string
		to            *string
		ids           []string
	}{{"zone", "zone", &b.Zone, r.known.Zones}, {"press", "press", &b.Press, r.known.Presses}} {
		if r.Text(record, known.column) == "" {
			continue
		}
		if *known.to, err = r.oneOf(record, known.column, known.thing, known.ids); err != nil {
			return err
		}
	}
	if err := r.times(record, &b); err != nil {
		return err
	}
	err = r.numbers(record, []numberColumn{
		{"spent", &b.Spent, 0, 1000}, {"mean_temperature_c", &b.MeanTemperatureC, air.MinTemperatureC, air.MaxTemperatureC},
		{"mean_humidity_pct", &b.MeanHumidityPct, air.MinHumidityPct, air.MaxHumidityPct}, {"ink_g", &b.InkG, 0, mostG}, {"hardener_g", &b.HardenerG, 0, mostG},
		{"thinner_g", &b.ThinnerG, 0, mostG}, {"left_g", &b.LeftG, 0, mostG}, {"ratio_off_pct", &b.RatioOffPct, -100, 10_000}, {"thinner_pct", &b.ThinnerPct, 0, 1000},
	})
	if err != nil {
		return err
	}
	return r.sunk("id", r.to.batch(b))
}

// times reads when a batch was mixed and ended, and checks that they agree with its outcome.
func (r *reader) times(record []string, b *history.Batch) error {
	account := learn.Account{Outcome: b.Outcome, StillGood: b.StillGood}
	for _, moment := range []struct {
		column string
		to     *time.Time
		may    bool // be empty
	}{{"mixed_at", &account.MixedAt, false}, {"closed_at", &account.ClosedAt, false}, {"last_good_at", &account.LastGoodAt, true}} {
		if moment.may && r.Text(record, moment.column) == "" {
			continue
		}
		var err error
		if *moment.to, err = r.Instant(record, moment.column); err != nil {
			return err
		}
		if moment.to.After(r.known.Now.Add(24 * time.Hour)) {
			return r.Fault(moment.column, "%s is in the future", r.Text(record, moment.column))
		}
	}
	var contradiction *learn.AccountError
	if _, err := account.Evidence(); errors.As(err, &contradiction) {
		return r.Fault(contradiction.Field, "%s", contradiction.Why)
	} else if err != nil && !errors.Is(err, learn.ErrNothingKnown) {
		return err
	}
	b.MixedAt, b.ClosedAt = &account.MixedAt, account.ClosedAt
	if !account.LastGoodAt.IsZero() {
		b.LastGoodAt = &account.LastGoodAt
	}
	age := account.ClosedAt.Sub(account.MixedAt).Seconds()
	b.AgeS = &age
	return nil
}
