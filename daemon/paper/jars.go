package paper

import (
	"errors"
	"io"

	"potlifed/model/jars"
)

// JarColumns are the columns of the form of a test in jars, in the order in which it has them. Reading needs only
// those of [ReadJars]; an import needs ink and mixed_at too.
var JarColumns = []string{"jar", "salt", "ink", "mixed_at", "mix", "temperature_c", "humidity_pct", "open", "last_good_h", "gone_off_h"}

// ReadJars reads mix,temperature_c,humidity_pct,last_good_h,gone_off_h of a filled-in form; name is what errors call the
// file. Other columns are ignored. Rows without any figure of a result are jars that nobody looked at, and are left out.
// The error is a [*FormatError] when the file is not right.
func ReadJars(name string, from io.Reader) ([]jars.Result, error) {
	table, err := Open(name, from, "mix", "temperature_c", "humidity_pct", "last_good_h", "gone_off_h")
	if err != nil {
		return nil, err
	}
	var all []jars.Result
	for {
		record, err := table.Next()
		if errors.Is(err, io.EOF) {
			return all, nil
		}
		if err != nil {
			return nil, err
		}
		one, looked, err := table.JarResult(record)
		if err != nil {
			return nil, err
		}
		if !looked {
			continue
		}
		if len(all) >= jars.MaxJars {
			return nil, Wrong("%s: more than %d jars", table.Place(), jars.MaxJars)
		}
		all = append(all, one)
	}
}

// JarResult returns what a record says of a jar; looked is false for a jar that nobody looked at. The error is a
// [*FormatError].
func (t *Table) JarResult(record []string) (r jars.Result, looked bool, err error) {
	if t.Text(record, "last_good_h") == "" && t.Text(record, "gone_off_h") == "" {
		return r, false, nil
	}
	r.Mix = t.Text(record, "mix")
	if r.Air, err = t.State(record); err != nil {
		return r, true, err
	}
	for _, look := range []struct {
		column string
		to     *float64
	}{{"last_good_h", &r.LastGoodH}, {"gone_off_h", &r.EndedH}} {
		if t.Text(record, look.column) == "" { // never seen good, or never seen gone off
			continue
		}
		if *look.to, err = t.Number(record, look.column, 0, jars.MaxHours); err != nil {
			return r, true, err
		}
		if *look.to == 0 {
			return r, true, t.Fault(look.column, "it is 0; leave it empty where nobody saw the jar so")
		}
	}
	if r.EndedH > 0 && r.EndedH <= r.LastGoodH {
		return r, true, t.Fault("gone_off_h", "%s h is not after last_good_h, %s h", t.Text(record, "gone_off_h"), t.Text(record, "last_good_h"))
	}
	return r, true, nil
}
