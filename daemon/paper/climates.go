package paper

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
)

// Climates are the recorded climates of a file, by zone, by batch, or one alone under "".
type Climates struct {
	name string
	by   string // zone, batch or nothing
	of   map[string]Climate
}

// ReadClimates reads time,temperature_c,humidity_pct with a column zone or batch or neither;
// name is what errors call the file. The rows of each zone or batch must be in the order of
// time, and may be mixed with those of others. What the API serves as history of the air can
// be read too: its column quality allows two rows at one instant.
func ReadClimates(name string, from io.Reader) (Climates, error) {
	table, err := Open(name, from, "time", "temperature_c", "humidity_pct")
	if err != nil {
		return Climates{}, err
	}
	read := Climates{name: name, of: map[string]Climate{}}
	for _, column := range []string{"zone", "batch"} {
		if table.Has(column) {
			if read.by != "" {
				return Climates{}, Wrong("%s: row 1: columns zone and batch; keep one of them", name)
			}
			read.by = column
		}
	}
	jumps := table.Has("quality")
	for {
		record, err := table.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return Climates{}, err
		}
		key := table.Text(record, read.by)
		if read.by != "" && key == "" {
			return Climates{}, table.Fault(read.by, "no value")
		}
		row, err := table.climateRow(record, read.of[key], jumps)
		if err != nil {
			return Climates{}, err
		}
		read.of[key] = append(read.of[key], row)
	}
	if len(read.of) == 0 {
		return Climates{}, Wrong("%s: no rows of air below the header", name)
	}
	for _, key := range slices.Sorted(maps.Keys(read.of)) {
		if len(read.of[key]) < 2 {
			return Climates{}, Wrong("%s: one row of air%s; want at least two, the start and the end", name, read.whose(key))
		}
	}
	return read, nil
}

// whose names a climate of the file.
func (c Climates) whose(key string) string {
	if c.by == "" {
		return ""
	}
	return fmt.Sprintf(" for %s %s", c.by, key)
}

// One returns the climate of a zone, or the only one of the file when zone is "". choose is
// the flag with which a zone is chosen, for the error of a file with several.
func (c Climates) One(zone, choose string) (Climate, error) {
	keys := slices.Sorted(maps.Keys(c.of))
	has := strings.Join(keys, ", ")
	switch {
	case c.by == "batch":
		return nil, Wrong("%s: row 1: a column batch: the file has the air of batches %s; keep one and leave the column out", c.name, has)
	case zone == "" && len(keys) == 1:
		return c.of[keys[0]], nil
	case zone == "":
		return nil, Wrong("%s: the file has the air of zones %s; choose one with %s", c.name, has, choose)
	case c.by == "":
		return nil, Wrong("%s: the file has no column zone; leave %s out", c.name, choose)
	}
	one, there := c.of[zone]
	if !there {
		return nil, Wrong("%s: no zone %q; the file has the air of %s", c.name, zone, has)
	}
	return one, nil
}

// keyOf says which climate a batch lived in.
func (c Climates) keyOf(batches Batches, b batchRow) (string, error) {
	switch c.by {
	case "":
		return "", nil
	case "batch":
		return b.id, nil
	}
	zones := slices.Sorted(maps.Keys(c.of))
	if b.zone == "" && len(zones) == 1 {
		return zones[0], nil
	}
	if _, there := c.of[b.zone]; there {
		return b.zone, nil
	}
	if !batches.zone {
		return "", Wrong("%s: no column zone, and %s has the air of %s; say where each batch stood", batches.name, c.name, strings.Join(zones, ", "))
	}
	return "", Wrong("%s: row %d, column zone: %q has no air in %s; it has %s", batches.name, b.row, b.zone, c.name, strings.Join(zones, ", "))
}
