package paper

import (
	"bufio"
	"compress/flate"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
)

// lines reads JSON lines. A column that a line does not have is empty there.
type lines struct {
	from  *bufio.Scanner
	first []string // read to learn the columns; nil once it was given
}

// longestLine bounds a line: the longest that an export writes, an event, has some thousand characters.
const longestLine = 1 << 20

// openLines reads the first line, which says what the columns are.
func (t *Table) openLines(from io.Reader, needed []string) error {
	t.lines = &lines{from: bufio.NewScanner(from)}
	t.lines.from.Buffer(nil, longestLine)
	first, err := t.nextLine()
	if err != nil {
		return err
	}
	t.lines.first = first
	return t.has(needed)
}

// nextLine returns the next line as a record of the columns that are known by then.
func (t *Table) nextLine() ([]string, error) {
	if first := t.lines.first; first != nil {
		t.lines.first = nil
		return first, nil
	}
	for t.lines.from.Scan() {
		t.row++
		text := t.lines.from.Bytes()
		if len(text) == 0 {
			continue
		}
		var values map[string]json.RawMessage
		if err := json.Unmarshal(text, &values); err != nil {
			if cut := t.lines.from.Err(); cut != nil { // the end of the line could not be read
				return nil, t.broken(cut)
			}
			return nil, Wrong("%s: row %d: not a JSON object: %w", t.name, t.row, err)
		}
		return t.record(values)
	}
	err := t.lines.from.Err()
	if err == nil {
		return nil, io.EOF
	}
	if errors.Is(err, bufio.ErrTooLong) {
		return nil, Wrong("%s: row %d: the line is longer than %d characters", t.name, t.row+1, longestLine)
	}
	return nil, t.broken(err)
}

// broken tells a compressed file that is damaged or cut off from one that cannot be read.
func (t *Table) broken(err error) error {
	var corrupt flate.CorruptInputError
	if errors.As(err, &corrupt) || errors.Is(err, gzip.ErrChecksum) || errors.Is(err, gzip.ErrHeader) || errors.Is(err, io.ErrUnexpectedEOF) {
		return Wrong("%s: after row %d: the compressed file is damaged or not complete: %w", t.name, t.row, err)
	}
	return fmt.Errorf("read %s: %w", t.name, err)
}

// record returns the values of a line by column. A key that no earlier line had becomes a column.
func (t *Table) record(values map[string]json.RawMessage) ([]string, error) {
	for _, key := range slices.Sorted(maps.Keys(values)) {
		if !t.Has(key) {
			t.columns[key] = len(t.Header)
			t.Header = append(t.Header, key)
		}
	}
	record := make([]string, len(t.Header))
	for key, value := range values {
		text := string(value)
		switch {
		case text == "null":
			text = ""
		case value[0] == '"':
			if err := json.Unmarshal(value, &text); err != nil {
				return nil, Wrong("%s: row %d, column %s: %w", t.name, t.row, key, err)
			}
		}
		record[t.columns[key]] = text
	}
	return record, nil
}
