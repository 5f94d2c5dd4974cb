package paper

import (
	"bufio"
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"potlifed/daemon/table"
	"potlifed/model/air"
)

// FormatError says what is wrong in a file, with row and column where there are any.
type FormatError struct{ cause error }

func (e *FormatError) Error() string { return e.cause.Error() }

// Unwrap returns the cause.
func (e *FormatError) Unwrap() error { return e.cause }

// Wrong returns a FormatError about a whole file; %w works as in fmt.Errorf.
func Wrong(format string, args ...any) error { return &FormatError{fmt.Errorf(format, args...)} }

// Table reads a CSV file with a header, or JSON lines, each of which is an object with the columns as keys;
// either may be compressed with gzip. Its errors name the row (the header is row 1, as a spreadsheet counts; of
// JSON, the first line is row 1) and the column.
type Table struct {
	name    string // of the file, for errors
	reader  *csv.Reader
	lines   *lines   // instead of reader, for JSON
	Header  []string // as it is in the file
	columns map[string]int
	row     int // of the record last read
}

// Open reads the header. The error is a [*FormatError] when a needed column is missing or a
// column is there twice. A byte order mark, as spreadsheets write it, is skipped.
func Open(name string, from io.Reader, needed ...string) (*Table, error) {
	buffered, err := plain(from)
	if err != nil {
		return nil, (&Table{name: name}).broken(err)
	}
	t := &Table{name: name, columns: map[string]int{}}
	if first, err := buffered.Peek(1); err == nil && first[0] == '{' {
		return t, t.openLines(buffered, needed)
	}
	t.reader = csv.NewReader(buffered)
	header, err := t.reader.Read()
	if errors.Is(err, io.EOF) {
		if len(needed) == 0 {
			return nil, Wrong("%s: the file is empty", name)
		}
		return nil, Wrong("%s: the file is empty; want a first row with %s", name, strings.Join(needed, ","))
	}
	if err != nil {
		return nil, t.unreadable(err)
	}
	t.row, t.Header = 1, header
	for i, column := range header {
		column = strings.TrimSpace(column)
		if _, twice := t.columns[column]; twice {
			return nil, Wrong("%s: row 1: the column %q is there twice", name, column)
		}
		t.columns[column] = i
	}
	if len(header) == 1 && strings.Contains(header[0], ";") {
		return nil, Wrong("%s: row 1: the columns are separated by semicolons; save the file with commas between the columns and a point in numbers", name)
	}
	return t, t.has(needed)
}

// plain returns the text of a file that may be compressed, without its byte order mark.
func plain(from io.Reader) (*bufio.Reader, error) {
	buffered := bufio.NewReader(from)
	if magic, err := buffered.Peek(2); err == nil && string(magic) == "\x1f\x8b" {
		unzipped, err := gzip.NewReader(buffered)
		if err != nil {
			return nil, err
		}
		buffered = bufio.NewReader(unzipped)
	}
	if mark, err := buffered.Peek(3); err == nil && string(mark) == "\xef\xbb\xbf" {
		_, err := buffered.Discard(3)
		return buffered, err
	}
	return buffered, nil
}

// has reports a needed column that is missing.
func (t *Table) has(needed []string) error {
	for _, column := range needed {
		if !t.Has(column) {
			return Wrong("%s: row 1: no column %s; want %s, found %s", t.name, column, strings.Join(needed, ","), strings.Join(t.Header, ","))
		}
	}
	return nil
}

// Next returns the next record; after the last one the error is io.EOF.
func (t *Table) Next() ([]string, error) {
	if t.lines != nil {
		return t.nextLine()
	}
	record, err := t.reader.Read()
	if errors.Is(err, io.EOF) {
		return nil, io.EOF
	}
	if err != nil {
		return nil, t.unreadable(err)
	}
	t.row, _ = t.reader.FieldPos(0)
	return record, nil
}

// unreadable tells a file that is not proper CSV from one that cannot be read.
func (t *Table) unreadable(err error) error {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		return t.broken(err)
	}
	if errors.Is(parse.Err, csv.ErrFieldCount) {
		return Wrong("%s: row %d: not as many values as the header has columns (%d)", t.name, parse.Line, len(t.Header))
	}
	return Wrong("%s: row %d, character %d: %w", t.name, parse.Line, parse.Column, parse.Err)
}

// Fault returns a [*FormatError] about one value of the record last read; %w works as in
// fmt.Errorf.
func (t *Table) Fault(column, format string, args ...any) error {
	return Wrong("%s: row %d, column %s: %w", t.name, t.row, column, fmt.Errorf(format, args...))
}

// Place names the record last read.
func (t *Table) Place() string { return fmt.Sprintf("%s: row %d", t.name, t.row) }

// Number returns a value of a record as a number inside limits. The error is a [*FormatError].
func (t *Table) Number(record []string, column string, least, most float64) (float64, error) {
	text := strings.TrimSpace(record[t.columns[column]])
	limits := decimal(least) + " to " + decimal(most)
	if text == "" {
		return 0, t.Fault(column, "no value; want a number from %s", limits)
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(value) {
		return 0, t.Fault(column, "%q is not a number; want one from %s, with a point", text, limits)
	}
	if value < least || value > most {
		return 0, t.Fault(column, "%s is outside %s", text, limits)
	}
	return value, nil
}

// decimal writes a number without an exponent.
func decimal(value float64) string { return strconv.FormatFloat(value, 'f', -1, 64) }

// State returns the air of a record.
func (t *Table) State(record []string) (air.State, error) {
	temperature, err := t.Number(record, "temperature_c", air.MinTemperatureC, air.MaxTemperatureC)
	if err != nil {
		return air.State{}, err
	}
	humidity, err := t.Number(record, "humidity_pct", air.MinHumidityPct, air.MaxHumidityPct)
	if err != nil {
		return air.State{}, err
	}
	return air.State{TemperatureC: temperature, HumidityPct: humidity}, nil
}

// Text returns a value without the blanks around it, and without the apostrophe with which an export
// keeps a spreadsheet from taking it for a formula; empty where there is no such column.
func (t *Table) Text(record []string, column string) string {
	at, there := t.columns[column]
	if !there {
		return ""
	}
	if t.lines != nil {
		return strings.TrimSpace(record[at])
	}
	return table.Plain(strings.TrimSpace(record[at]))
}

// Instant returns a value as a time. The error is a [*FormatError].
func (t *Table) Instant(record []string, column string) (time.Time, error) {
	text := t.Text(record, column)
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return at, t.Fault(column, "%q is not a time; want one with zone, as 2026-06-12T08:30:00+02:00", text)
	}
	if year := at.UTC().Year(); year < 1900 || year > 2200 {
		return at, t.Fault(column, "the year %d is outside 1900 to 2200", year)
	}
	return at, nil
}

// Has reports whether the header has a column.
func (t *Table) Has(column string) bool {
	_, there := t.columns[column]
	return there
}
