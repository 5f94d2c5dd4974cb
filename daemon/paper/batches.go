package paper

import (
	"errors"
	"fmt"
	"io"
	"time"

	"potlifed/daemon/outcomes"
	"potlifed/model/learn"
	"potlifed/model/lifecycle"
)

// batchRow is a batch of the paper records.
type batchRow struct {
	row           int
	id, ink, zone string
	account       learn.Account
	facts         learn.Facts
	evidence      learn.Evidence
	silent        string // why it says nothing about its end; empty when it does
}

// Batches are the paper records of one file.
type Batches struct {
	name string
	rows []batchRow
	zone bool // there is a column zone
}

// ReadBatches reads id,ink,mixed_at,closed_at,outcome and, where they are there,
// still_good, last_good_at, zone, and the facts ink_lot, hardener_lot, colour_class, press and
// closed_by; name is what errors call the file. Other columns are
// ignored. The error is a [*FormatError] when the file is not right.
func ReadBatches(name string, from io.Reader) (Batches, error) {
	table, err := Open(name, from, "id", "ink", "mixed_at", "closed_at", "outcome")
	if err != nil {
		return Batches{}, err
	}
	read := Batches{name: name, zone: table.Has("zone")}
	first := map[string]int{} // row in which an id of a year was first
	for {
		record, err := table.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return Batches{}, err
		}
		if table.Text(record, "outcome") == string(lifecycle.Abandoned) { // a mix that was given up, in an export
			continue
		}
		b, err := table.batchRow(record)
		if err != nil {
			return Batches{}, err
		}
		key := fmt.Sprint(b.account.MixedAt.Year(), b.id)
		if before, twice := first[key]; twice {
			return Batches{}, table.Fault("id", "%q is there twice in a year, first in row %d", b.id, before)
		}
		first[key] = b.row
		read.rows = append(read.rows, b)
	}
	if len(read.rows) == 0 {
		return Batches{}, Wrong("%s: no batches; want at least one row below the header", name)
	}
	return read, nil
}

// batchRow reads one record.
func (t *Table) batchRow(record []string) (batchRow, error) {
	b := batchRow{row: t.row, id: t.Text(record, "id"), ink: t.Text(record, "ink"), zone: t.Text(record, "zone")}
	for _, column := range []string{"id", "ink", "outcome"} {
		if t.Text(record, column) == "" {
			return b, t.Fault(column, "no value")
		}
	}
	b.account.Outcome = lifecycle.Outcome(t.Text(record, "outcome"))
	b.account.StillGood = lifecycle.StillGood(t.Text(record, "still_good"))
	for _, moment := range []struct {
		column string
		to     *time.Time
		may    bool // be empty
	}{{"mixed_at", &b.account.MixedAt, false}, {"closed_at", &b.account.ClosedAt, false}, {"last_good_at", &b.account.LastGoodAt, true}} {
		if moment.may && t.Text(record, moment.column) == "" {
			continue
		}
		var err error
		if *moment.to, err = t.Instant(record, moment.column); err != nil {
			return b, err
		}
	}
	b.facts = learn.Facts{
		InkLot: t.Text(record, "ink_lot"), HardenerLot: t.Text(record, "hardener_lot"), Colour: t.Text(record, "colour_class"),
		Press: t.Text(record, "press"), Weekday: outcomes.Weekday(b.account.MixedAt), ClosedBy: t.Text(record, "closed_by"),
	}
	var err error
	b.evidence, err = b.account.Evidence()
	var contradiction *learn.AccountError
	switch {
	case errors.As(err, &contradiction):
		return b, t.Fault(contradiction.Field, "%s", contradiction.Why)
	case errors.Is(err, learn.ErrNothingKnown):
		b.silent = err.Error()
	case err != nil:
		return b, err
	}
	return b, nil
}
