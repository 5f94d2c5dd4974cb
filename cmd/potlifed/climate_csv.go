package main

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"potlifed/model/air"
)

// csvTable reads a comma-separated file with a header, and knows for every error the row (the header is row 1, as a spreadsheet counts)
// and the column.
type csvTable struct {
	name    string // of the file, for errors
	reader  *csv.Reader
	header  []string
	columns map[string]int
	row     int // of the record last read
}

// openTable reads the header and asks for columns. A byte order mark, as spreadsheets write, is passed over.
func openTable(name string, from io.Reader, needed ...string) (*csvTable, error) {
	buffered := bufio.NewReader(from)
	if mark, err := buffered.Peek(3); err == nil && string(mark) == "\xef\xbb\xbf" {
		if _, err := buffered.Discard(3); err != nil {
			return nil, err
		}
	}
	t := &csvTable{name: name, reader: csv.NewReader(buffered), columns: map[string]int{}}
	header, err := t.reader.Read()
	if errors.Is(err, io.EOF) {
		return nil, usage("%s: the file is empty; want a first row with %s", name, strings.Join(needed, ","))
	}
	if err != nil {
		return nil, t.wrong(err)
	}
	t.row, t.header = 1, header
	for i, column := range header {
		column = strings.TrimSpace(column)
		if _, twice := t.columns[column]; twice {
			return nil, usage("%s: row 1: the column %q is there twice", name, column)
		}
		t.columns[column] = i
	}
	for _, column := range needed {
		if _, there := t.columns[column]; !there {
			return nil, usage("%s: row 1: no column %s; want %s, found %s", name, column, strings.Join(needed, ","), strings.Join(header, ","))
		}
	}
	return t, nil
}

// next reads a record; io.EOF after the last.
func (t *csvTable) next() ([]string, error) {
	record, err := t.reader.Read()
	if errors.Is(err, io.EOF) {
		return nil, io.EOF
	}
	if err != nil {
		return nil, t.wrong(err)
	}
	t.row, _ = t.reader.FieldPos(0)
	return record, nil
}

// wrong tells a file that is not proper CSV from one that cannot be read.
func (t *csvTable) wrong(err error) error {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		return fmt.Errorf("read %s: %w", t.name, err)
	}
	if errors.Is(parse.Err, csv.ErrFieldCount) {
		return usage("%s: row %d: not as many values as the header has columns (%d)", t.name, parse.Line, len(t.header))
	}
	return usage("%s: row %d, character %d: %w", t.name, parse.Line, parse.Column, parse.Err)
}

// fault is an error in one value of the record last read.
func (t *csvTable) fault(column, format string, args ...any) error {
	return usage("%s: row %d, column %s: %w", t.name, t.row, column, fmt.Errorf(format, args...))
}

// number is a value of a record as a number inside limits.
func (t *csvTable) number(record []string, column string, least, most float64) (float64, error) {
	text := strings.TrimSpace(record[t.columns[column]])
	if text == "" {
		return 0, t.fault(column, "no value; want a number from %v to %v", least, most)
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(value) {
		return 0, t.fault(column, "%q is not a number; want one from %v to %v, with a point", text, least, most)
	}
	if value < least || value > most {
		return 0, t.fault(column, "%s is outside %v to %v", text, least, most)
	}
	return value, nil
}

// state is the air of a record.
func (t *csvTable) state(record []string) (air.State, error) {
	temperature, err := t.number(record, "temperature_c", air.MinTemperatureC, air.MaxTemperatureC)
	if err != nil {
		return air.State{}, err
	}
	humidity, err := t.number(record, "humidity_pct", air.MinHumidityPct, air.MaxHumidityPct)
	if err != nil {
		return air.State{}, err
	}
	return air.State{TemperatureC: temperature, HumidityPct: humidity}, nil
}

// climateRow is the air at one instant.
type climateRow struct {
	at  time.Time
	air air.State
}

// climate is a recorded climate of one place: at least two rows, in order of time, no instant twice.
type climate []climateRow

// openClimate opens a file, or standard input for "-".
func openClimate(name string, stdin io.Reader) (climate, error) {
	if name == "-" {
		return readClimate("standard input", stdin)
	}
	file, err := os.Open(name)
	if err != nil {
		return nil, usage("life: --climate: %w", err)
	}
	defer file.Close()
	return readClimate(name, file)
}

// readClimate reads time,temperature_c,humidity_pct; times are RFC 3339 with zone. Other columns are passed over, but for zone and batch,
// which say that the file holds more than one climate.
func readClimate(name string, from io.Reader) (climate, error) {
	table, err := openTable(name, from, "time", "temperature_c", "humidity_pct")
	if err != nil {
		return nil, err
	}
	for _, column := range []string{"zone", "batch"} {
		if _, there := table.columns[column]; there {
			return nil, usage("%s: row 1: a column %s: this is more than one climate; keep one and leave the column out", name, column)
		}
	}
	var rows climate
	for {
		record, err := table.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		row, err := table.climateRow(record, rows)
		if err != nil {
			return nil, err
		}
		rows = append(rows, row)
	}
	if len(rows) < 2 {
		return nil, usage("%s: want at least two rows of air, the start and the end; found %d", name, len(rows))
	}
	return rows, nil
}

// climateRow reads one record that has to follow the rows so far.
func (t *csvTable) climateRow(record []string, before climate) (climateRow, error) {
	text := strings.TrimSpace(record[t.columns["time"]])
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return climateRow{}, t.fault("time", "%q is not a time; want one with zone, as 2026-06-12T08:30:00+02:00", text)
	}
	if year := at.UTC().Year(); year < 1900 || year > 2200 {
		return climateRow{}, t.fault("time", "the year %d is outside 1900 to 2200", year)
	}
	if len(before) > 0 {
		last := before[len(before)-1].at
		if at.Equal(last) {
			return climateRow{}, t.fault("time", "%s is there twice; keep one row for each instant", text)
		}
		if at.Before(last) {
			return climateRow{}, t.fault("time", "%s comes after %s; rows must be in order of time", text, last.Format(time.RFC3339))
		}
	}
	state, err := t.state(record)
	return climateRow{at: at, air: state}, err
}

func (c climate) start() time.Time { return c[0].at }
func (c climate) end() time.Time   { return c[len(c)-1].at }

// covers says whether an instant lies within the record.
func (c climate) covers(at time.Time) bool { return !at.Before(c.start()) && !at.After(c.end()) }

// from is the climate from an instant on that it covers: its first row is the air at that instant, linear between rows. Only at the
// record's end is it a single row.
func (c climate) from(at time.Time) climate {
	i, exact := slices.BinarySearchFunc(c, at, func(row climateRow, at time.Time) int { return row.at.Compare(at) })
	if exact {
		return c[i:]
	}
	before, after := c[i-1], c[i]
	f := at.Sub(before.at).Hours() / after.at.Sub(before.at).Hours()
	return append(climate{{at: at, air: air.Lerp(before.air, after.air, f)}}, c[i:]...)
}

// longestGap is the longest time between two rows that begin before an instant.
func (c climate) longestGap(until time.Time) time.Duration {
	longest := time.Duration(0)
	for i := 1; i < len(c) && c[i-1].at.Before(until); i++ {
		longest = max(longest, c[i].at.Sub(c[i-1].at))
	}
	return longest
}
