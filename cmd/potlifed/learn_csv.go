package main

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"potlifed/model/learn"
	"potlifed/model/lifecycle"
)

// batchRow is a batch of the paper records.
type batchRow struct {
	row           int
	id, ink, zone string
	account       learn.Account
	evidence      learn.Evidence
	silent        string // why it says nothing about its end; empty when it does
}

// batchRows are the rows of one file.
type batchRows struct {
	name string
	rows []batchRow
	zone bool // there is a column zone
}

// readBatches reads id,ink,mixed_at,closed_at,outcome and optionally still_good, last_good_at and zone. Other columns are passed over.
func readBatches(name string, from io.Reader) (batchRows, error) {
	table, err := openTable(name, from, "id", "ink", "mixed_at", "closed_at", "outcome")
	if err != nil {
		return batchRows{}, err
	}
	_, zone := table.columns["zone"]
	read := batchRows{name: name, zone: zone}
	first := map[string]int{} // row in which an id of a year was first
	for {
		record, err := table.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return batchRows{}, err
		}
		b, err := table.batchRow(record)
		if err != nil {
			return batchRows{}, err
		}
		key := fmt.Sprint(b.account.MixedAt.Year(), b.id)
		if before, twice := first[key]; twice {
			return batchRows{}, table.fault("id", "%q is there twice in a year, first in row %d", b.id, before)
		}
		first[key] = b.row
		read.rows = append(read.rows, b)
	}
	if len(read.rows) == 0 {
		return batchRows{}, usage("%s: no batches; want at least one row below the header", name)
	}
	return read, nil
}

// batchRow reads one record.
func (t *csvTable) batchRow(record []string) (batchRow, error) {
	b := batchRow{row: t.row, id: t.text(record, "id"), ink: t.text(record, "ink"), zone: t.text(record, "zone")}
	for _, column := range []string{"id", "ink", "outcome"} {
		if t.text(record, column) == "" {
			return b, t.fault(column, "no value")
		}
	}
	b.account.Outcome = lifecycle.Outcome(t.text(record, "outcome"))
	b.account.StillGood = lifecycle.StillGood(t.text(record, "still_good"))
	for _, moment := range []struct {
		column string
		to     *time.Time
		may    bool // be empty
	}{{"mixed_at", &b.account.MixedAt, false}, {"closed_at", &b.account.ClosedAt, false}, {"last_good_at", &b.account.LastGoodAt, true}} {
		if moment.may && t.text(record, moment.column) == "" {
			continue
		}
		var err error
		if *moment.to, err = t.instant(record, moment.column); err != nil {
			return b, err
		}
	}
	var err error
	b.evidence, err = b.account.Evidence()
	var contradiction *learn.AccountError
	switch {
	case errors.As(err, &contradiction):
		return b, t.fault(contradiction.Field, "%s", contradiction.Why)
	case errors.Is(err, learn.ErrNothingKnown):
		b.silent = err.Error()
	case err != nil:
		return b, err
	}
	return b, nil
}

// text is a value without the blanks around it; empty where there is no such column.
func (t *csvTable) text(record []string, column string) string {
	at, there := t.columns[column]
	if !there {
		return ""
	}
	return strings.TrimSpace(record[at])
}

// instant is a value as a time.
func (t *csvTable) instant(record []string, column string) (time.Time, error) {
	text := t.text(record, column)
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return at, t.fault(column, "%q is not a time; want one with zone, as 2026-06-12T08:30:00+02:00", text)
	}
	if year := at.UTC().Year(); year < 1900 || year > 2200 {
		return at, t.fault(column, "the year %d is outside 1900 to 2200", year)
	}
	return at, nil
}

// climates are the recorded airs of a file, by zone, by batch, or one alone under "".
type climates struct {
	name string
	by   string // zone, batch or nothing
	of   map[string]climate
}

// readClimates reads time,temperature_c,humidity_pct with a column zone or batch or neither. The rows of each zone or batch have to be in
// order of time; they may stand among those of others.
func readClimates(name string, from io.Reader) (climates, error) {
	table, err := openTable(name, from, "time", "temperature_c", "humidity_pct")
	if err != nil {
		return climates{}, err
	}
	read := climates{name: name, of: map[string]climate{}}
	for _, column := range []string{"zone", "batch"} {
		if _, there := table.columns[column]; there {
			if read.by != "" {
				return climates{}, usage("%s: row 1: columns zone and batch; keep one of them", name)
			}
			read.by = column
		}
	}
	for {
		record, err := table.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return climates{}, err
		}
		key := table.text(record, read.by)
		if read.by != "" && key == "" {
			return climates{}, table.fault(read.by, "no value")
		}
		row, err := table.climateRow(record, read.of[key])
		if err != nil {
			return climates{}, err
		}
		read.of[key] = append(read.of[key], row)
	}
	if len(read.of) == 0 {
		return climates{}, usage("%s: no rows of air below the header", name)
	}
	for _, key := range slices.Sorted(maps.Keys(read.of)) {
		if len(read.of[key]) < 2 {
			return climates{}, usage("%s: one row of air%s; want at least two, the start and the end", name, read.whose(key))
		}
	}
	return read, nil
}

// whose names a climate of the file.
func (c climates) whose(key string) string {
	if c.by == "" {
		return ""
	}
	return fmt.Sprintf(" for %s %s", c.by, key)
}
