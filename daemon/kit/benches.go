// Package kit writes what the benches of a plant need from a list of them: configurations, passwords, users and rights
// at the plant's broker, and the targets of a Prometheus.
package kit

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/goccy/go-yaml"
)

// Bench is an entry of the list.
type Bench struct {
	ID      string   `yaml:"id"`
	Name    string   `yaml:"name"` // for people; may be empty
	Presses []string `yaml:"presses"`
	Zone    string   `yaml:"zone"`    // in which its presses are; default "hall"
	Address string   `yaml:"address"` // HOST:PORT of its page and metrics
	Scale   string   `yaml:"scale"`   // port of its scale
	Sensor  string   `yaml:"sensor"`  // folder of its sensor of the air
}

// columns are those of a list as CSV. The presses are separated by spaces.
var columns = []string{"id", "name", "presses", "zone", "address", "scale", "sensor"}

var (
	idShape    = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)
	lineShape  = regexp.MustCompile(`^[^\x00-\x1f\x7f]*$`)
	placeShape = regexp.MustCompile(`^[A-Za-z0-9.\-\[\]:]+:[0-9]{1,5}$`)
)

// Read reads a list of benches: CSV with a header when the file's name ends in .csv, else a YAML list of mappings
// with the same names. An error names the entry, counted from 1, or the line.
func Read(name string, data []byte) (benches []Bench, err error) {
	if strings.EqualFold(filepath.Ext(name), ".csv") {
		benches, err = readCSV(data)
	} else {
		err = yaml.UnmarshalWithOptions(data, &benches, yaml.Strict())
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	seen := map[string]bool{}
	for i := range benches {
		b := &benches[i]
		if b.Zone == "" {
			b.Zone = "hall"
		}
		if err := b.check(); err != nil {
			return nil, fmt.Errorf("%s: bench %d: %w", name, i+1, err)
		}
		if seen[b.ID] {
			return nil, fmt.Errorf("%s: bench %d: id %q a second time", name, i+1, b.ID)
		}
		seen[b.ID] = true
	}
	if len(benches) == 0 {
		return nil, fmt.Errorf("%s: no bench", name)
	}
	return benches, nil
}

func readCSV(data []byte) (benches []Bench, err error) {
	rows, err := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")))).ReadAll()
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	for _, column := range rows[0] {
		if !slices.Contains(columns, column) {
			return nil, fmt.Errorf("line 1: unknown column %q; the columns are %s", column, strings.Join(columns, ", "))
		}
	}
	for _, row := range rows[1:] {
		cell := func(column string) string {
			if i := slices.Index(rows[0], column); i >= 0 {
				return strings.TrimSpace(row[i])
			}
			return ""
		}
		benches = append(benches, Bench{cell("id"), cell("name"), strings.Fields(cell("presses")), cell("zone"), cell("address"), cell("scale"), cell("sensor")})
	}
	return benches, nil
}

func (b Bench) check() error {
	for _, id := range append([]string{b.ID, b.Zone}, b.Presses...) {
		if !idShape.MatchString(id) {
			return fmt.Errorf("id, zone or press %q; want 1 to 32 small letters, digits and hyphens", id)
		}
	}
	switch {
	case len(b.Presses) == 0:
		return fmt.Errorf("%s has no press", b.ID)
	case !placeShape.MatchString(b.Address):
		return fmt.Errorf("address %q of %s; want HOST:PORT of its page", b.Address, b.ID)
	case b.Scale == "" || b.Sensor == "":
		return fmt.Errorf("%s needs scale, the port of its scale, and sensor, the folder of its sensor", b.ID)
	}
	for _, text := range []string{b.Name, b.Scale, b.Sensor} {
		if !lineShape.MatchString(text) {
			return fmt.Errorf("%q of %s is not one line of text", text, b.ID)
		}
	}
	return nil
}
