package history

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
)

// Counts of a day (UTC) that come from one place are one row. A year of a bench with three presses is
// some 30,000 counts, which take five times as long to read as rows of their own.

// quartersADay is how many quarter-hours a day (UTC) has.
const quartersADay = 96

// benchOwn is what the column import has for counts that the bench recorded, and earlierPaper for
// paper records that were imported before imports had a number in their rows.
const (
	benchOwn     int64 = 0
	earlierPaper int64 = -1
)

// sourceOf returns the source of counts with a value of the column import.
func sourceOf(number int64) Source {
	if number == benchOwn {
		return Measured
	}
	return Paper
}

// count is a tally with its key.
type count struct {
	tallyKey
	tally
}

// Bits of a count's flags: which sums follow.
const (
	hasLived = 1 << iota
	hasAired
	hasMixed
)

// encodeCounts writes the counts of a day, in the order of their keys: the texts in use, each once, then
// for each count its place in the day, its texts, its pieces and its sums. The source is not written.
func encodeCounts(day int64, counts []count) []byte {
	texts, known := []string{}, map[string]uint64{}
	number := func(text string) uint64 {
		n, ok := known[text]
		if !ok {
			n = uint64(len(texts))
			known[text] = n
			texts = append(texts, text)
		}
		return n
	}
	var rows []byte
	sum := func(pieces, of int64, sums ...float64) {
		rows = binary.AppendVarint(rows, of-pieces)
		for _, s := range sums {
			rows = binary.LittleEndian.AppendUint64(rows, math.Float64bits(s))
		}
	}
	for _, c := range counts {
		rows = binary.AppendUvarint(rows, uint64(c.quarter-day*quartersADay))
		for _, text := range []string{c.press, c.kind, c.batch, c.ink} {
			rows = binary.AppendUvarint(rows, number(text))
		}
		rows = binary.AppendVarint(rows, c.pieces)
		flags := byte(0)
		for bit, of := range map[byte]int64{hasLived: c.lived, hasAired: c.aired, hasMixed: c.mixed} {
			if of != 0 {
				flags |= bit
			}
		}
		rows = append(rows, flags)
		if c.lived != 0 {
			sum(c.pieces, c.lived, c.spent, c.ageS)
		}
		if c.aired != 0 {
			sum(c.pieces, c.aired, c.celsius, c.percent)
		}
		if c.mixed != 0 {
			sum(c.pieces, c.mixed, c.thinner, c.ratio)
		}
	}
	body := binary.AppendUvarint([]byte{layout}, uint64(len(texts)))
	for _, text := range texts {
		body = binary.AppendUvarint(body, uint64(len(text)))
		body = append(body, text...)
	}
	return append(body, rows...)
}

// decodeCounts appends what encodeCounts wrote.
func decodeCounts(to []count, day int64, source Source, body []byte) ([]count, error) {
	d := decoder{rest: body}
	d.version()
	texts := make([]string, d.unsigned(int64(len(d.rest))))
	for i := range texts {
		texts[i] = string(d.bytes(d.unsigned(int64(len(d.rest)))))
	}
	text := func() string {
		n := d.unsigned(int64(len(texts)) - 1)
		if d.failed = d.failed || len(texts) == 0; d.failed {
			return ""
		}
		return texts[n]
	}
	for len(d.rest) > 0 && !d.failed {
		var c count
		c.quarter, c.source = day*quartersADay+d.unsigned(quartersADay-1), source
		c.press, c.kind, c.batch, c.ink = text(), text(), text(), text()
		c.pieces = d.number()
		flags := d.bytes(1)
		if d.failed {
			break
		}
		if flags[0]&hasLived != 0 {
			c.lived, c.spent, c.ageS = c.pieces+d.number(), d.float(), d.float()
		}
		if flags[0]&hasAired != 0 {
			c.aired, c.celsius, c.percent = c.pieces+d.number(), d.float(), d.float()
		}
		if flags[0]&hasMixed != 0 {
			c.mixed, c.thinner, c.ratio = c.pieces+d.number(), d.float(), d.float()
		}
		to = append(to, c)
	}
	if d.failed {
		return nil, errBody
	}
	return to, nil
}

// mostPieces is more than a press prints in a quarter-hour.
const mostPieces = 1 << 50

// number reads a number of pieces.
func (d *decoder) number() int64 {
	v, n := binary.Varint(d.rest)
	if d.failed || n <= 0 || v > mostPieces || v < -mostPieces {
		d.failed = true
		return 0
	}
	d.rest = d.rest[n:]
	return v
}

// float reads a finite number.
func (d *decoder) float() float64 {
	b := d.bytes(8)
	if d.failed {
		return 0
	}
	v := math.Float64frombits(binary.LittleEndian.Uint64(b))
	if math.IsNaN(v) || math.IsInf(v, 0) {
		d.failed = true
		return 0
	}
	return v
}

// bytes reads n bytes.
func (d *decoder) bytes(n int64) []byte {
	if d.failed || n > int64(len(d.rest)) {
		d.failed = true
		return nil
	}
	b := d.rest[:n]
	d.rest = d.rest[n:]
	return b
}

// querier is a database or a transaction.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// eachDay calls f for the counts of each day in [first, last], in the order of their keys. f must not keep
// the list.
func eachDay(ctx context.Context, db querier, first, last int64, f func([]count) error) error {
	rows, err := db.QueryContext(ctx, `SELECT day, import, body FROM counts WHERE day BETWEEN ? AND ? ORDER BY day, import`, first, last)
	if err != nil {
		return fmt.Errorf("history: read counts: %w", err)
	}
	defer rows.Close()
	var open, merged []count // open has the counts of one place after those of another
	var places []int         // where those of each place begin in open
	day := int64(0)
	end := func() error {
		if len(places) == 0 {
			return nil
		}
		all := open
		if len(places) > 1 {
			merged = merge(merged[:0], open, places)
			all = merged
		}
		err := f(all)
		open, places = open[:0], places[:0]
		return err
	}
	for rows.Next() {
		var of, number int64
		var body sql.RawBytes
		if err := rows.Scan(&of, &number, &body); err != nil {
			return fmt.Errorf("history: read counts: %w", err)
		}
		if of != day {
			if err := end(); err != nil {
				return err
			}
			day = of
		}
		places = append(places, len(open))
		if open, err = decodeCounts(open, day, sourceOf(number), body); err != nil {
			return fmt.Errorf("history: read counts of day %d: %w", day, err)
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("history: read counts: %w", err)
	}
	return end()
}

// merge appends counts in the order of their keys. They come in parts that are in order by themselves and begin at
// the given places. Counts with the same key stay in the order of the parts.
func merge(to, counts []count, places []int) []count {
	parts := make([][]count, len(places))
	for i, begin := range places {
		end := len(counts)
		if i+1 < len(places) {
			end = places[i+1]
		}
		parts[i] = counts[begin:end]
	}
	for range counts {
		first := -1
		for i, p := range parts {
			if len(p) > 0 && (first < 0 || compareKeys(p[0].tallyKey, parts[first][0].tallyKey) < 0) {
				first = i
			}
		}
		to = append(to, parts[first][0])
		parts[first] = parts[first][1:]
	}
	return to
}

// countsOf returns the counts of a day that come from one place.
func countsOf(tx *sql.Tx, day, number int64) (map[tallyKey]tally, error) {
	counts := map[tallyKey]tally{}
	var body []byte
	switch err := tx.QueryRow(`SELECT body FROM counts WHERE day = ? AND import = ?`, day, number).Scan(&body); {
	case errors.Is(err, sql.ErrNoRows):
		return counts, nil
	case err != nil:
		return nil, err
	}
	list, err := decodeCounts(nil, day, sourceOf(number), body)
	for _, c := range list {
		counts[c.tallyKey] = c.tally
	}
	return counts, err
}

// putCounts stores the counts of a day that come from one place.
func putCounts(tx *sql.Tx, day, number int64, counts map[tallyKey]tally) error {
	list := make([]count, 0, len(counts))
	for _, k := range slices.SortedFunc(maps.Keys(counts), compareKeys) {
		list = append(list, count{k, counts[k]})
	}
	_, err := tx.Exec(`INSERT OR REPLACE INTO counts (day, import, body) VALUES (?, ?, ?)`, day, number, encodeCounts(day, list))
	return err
}

// addCounts adds tallies that the bench recorded to those of their days.
func addCounts(tx *sql.Tx, add map[tallyKey]tally) error {
	days := map[int64]map[tallyKey]tally{}
	for k, t := range add {
		day := dayOf(k.quarter)
		if days[day] == nil {
			stored, err := countsOf(tx, day, benchOwn)
			if err != nil {
				return err
			}
			days[day] = stored
		}
		sum := days[day][k]
		sum.add(t)
		days[day][k] = sum
	}
	for day, counts := range days {
		if err := putCounts(tx, day, benchOwn, counts); err != nil {
			return err
		}
	}
	return nil
}

// dayOf returns the day (UTC) of a quarter-hour, since 1970.
func dayOf(quarter int64) int64 { return floor(quarter, quartersADay) }
