package export

import (
	"context"
	"fmt"
	"io"
	"reflect"
	"strings"
	"time"

	"potlifed/daemon/history"
	"potlifed/daemon/table"
)

// Table is a table that can be exported.
type Table struct {
	Name string
	Doc  string
	Row  reflect.Type
	// rows calls put for every row. It is nil for a table whose rows come from the journal's events,
	// which are read once for all of these.
	rows func(s *source, ctx context.Context, put func(row any) error) error
}

// Tables returns the tables, in the order in which they are written.
func Tables() []Table {
	return []Table{
		{"air", "The air of each zone as it was recorded, by zone and time.", reflect.TypeFor[Air](), (*source).air},
		{"batches", "The batches that ended, by the time of their end.", reflect.TypeFor[Batch](), (*source).batches},
		{"pours", "What was poured into each mix, once the mix has ended; mixes that are open come last.", reflect.TypeFor[Pour](), nil},
		{"prints", "Prints by quarter-hour, press and batch.", reflect.TypeFor[Prints](), (*source).prints},
		{"defects", "Rejects by quarter-hour, press, batch and kind of defect.", reflect.TypeFor[Defects](), (*source).defects},
		{"checks", "Checks of sensors against a reference.", reflect.TypeFor[Check](), (*source).checks},
		{"scale-checks", "Checks of scales with weights, a row for each load.", reflect.TypeFor[ScaleCheck](), nil},
		{"flow-times", "Flow times of batches, by the time of their record.", reflect.TypeFor[FlowTime](), nil},
		{"alarms", "Every change of an alarm.", reflect.TypeFor[Alarm](), nil},
		{"events", "Every event of the journal.", reflect.TypeFor[Event](), nil},
	}
}

// Describe writes what the columns of the tables mean, as Markdown.
func Describe(to io.Writer) error {
	var b strings.Builder
	b.WriteString("Times are UTC by RFC 3339. An empty cell (CSV) or an absent field (JSON) is a value that is not known.\n" +
		"In CSV, text that begins with = + - @ ' a tab or a carriage return has an apostrophe before it.\n")
	for _, t := range Tables() {
		fmt.Fprintf(&b, "\n## %s\n\n%s\n\n| column | type | may be empty | meaning |\n| --- | --- | --- | --- |\n", t.Name, t.Doc)
		for _, c := range table.Columns(t.Row) {
			empty := ""
			if c.Optional {
				empty = "yes"
			}
			fmt.Fprintf(&b, "| `%s` | %s | %s | %s |\n", c.Name, c.Type, empty, c.Doc)
		}
	}
	_, err := io.WriteString(to, b.String())
	return err
}

// window is how much of a span is read at once, so that the memory in use does not grow with it.
const window = 7 * 24 * time.Hour

// most bounds the rows of a window: more than every bench has.
const most = 5_000_000

// windows calls f for the parts of the span from begin on, oldest first, and tells how far it is.
func (s *source) windows(name string, begin time.Time, f func(from, to time.Time) error) error {
	for from := begin; from.Before(s.To); from = from.Add(window) {
		s.progress(name, from.Sub(s.From).Seconds()/s.To.Sub(s.From).Seconds())
		to := from.Add(window)
		if to.After(s.To) {
			to = s.To
		}
		if err := f(from, to); err != nil {
			return err
		}
	}
	return nil
}

func (s *source) batches(ctx context.Context, put func(any) error) error {
	return s.windows("batches", s.From, func(from, to time.Time) error {
		rows, err := s.History.Batches(ctx, history.Search{From: from, To: to}, most)
		for i := 0; i < len(rows) && err == nil; i++ {
			err = put(Batch{s.of, rows[i]})
		}
		return err
	})
}

func (s *source) prints(ctx context.Context, put func(any) error) error {
	return s.windows("prints", s.quarter.Begin(s.From), func(from, to time.Time) error {
		rows, err := s.History.PrintsIn(ctx, history.Search{From: from, To: to}, s.quarter, most)
		for i := 0; i < len(rows) && err == nil; i++ {
			err = put(Prints{s.of, rows[i]})
		}
		return err
	})
}

func (s *source) defects(ctx context.Context, put func(any) error) error {
	return s.windows("defects", s.quarter.Begin(s.From), func(from, to time.Time) error {
		rows, err := s.History.DefectsIn(ctx, history.Search{From: from, To: to}, s.quarter, most)
		for i := 0; i < len(rows) && err == nil; i++ {
			err = put(Defects{s.of, rows[i]})
		}
		return err
	})
}

func (s *source) checks(ctx context.Context, put func(any) error) error {
	return s.windows("checks", s.From, func(from, to time.Time) error {
		rows, err := s.History.Checks(ctx, "", from, to, s.Zone, most)
		for i := 0; i < len(rows) && err == nil; i++ {
			err = put(Check{s.of, rows[i]})
		}
		return err
	})
}

func (s *source) air(ctx context.Context, put func(any) error) error {
	zones, err := s.History.Zones(ctx)
	if err != nil {
		return err
	}
	for i, zone := range zones {
		err := s.History.EachAir(ctx, zone, s.From, s.To, func(p history.AirPoint) error {
			return put(Air{s.of, p.Time, zone, p.TemperatureC, p.HumidityPct, p.DewPointC, p.VapourDensity, p.Quality, p.Source})
		}, func(at time.Time) {
			part := at.Sub(s.From).Seconds() / s.To.Sub(s.From).Seconds()
			s.progress("air", (float64(i)+part)/float64(len(zones)))
		})
		if err != nil {
			return err
		}
	}
	return nil
}
