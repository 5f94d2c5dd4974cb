package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strconv"

	"potlifed/daemon/actor"
	"potlifed/daemon/chart"
	"potlifed/daemon/history"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/verify"
)

//go:embed check.html
var checkLayout string

// checkData is what the layout of a check's record shows.
type checkData struct {
	Language, Title, Bench, Verdict string
	Back                            string
	Style                           template.CSS
	Totals                          [][2]string
	Table                           chart.Table
	Notes                           []string
	Earlier                         chart.Table
	Elsewhere                       string // where earlier checks are
}

// WriteCheck writes the record of an instrument's newest check as one HTML file for printing, with a link to the
// page back, where that is not empty. Of a sensor it lists below those of the recorded checks, oldest first, that came
// before. It reports false, and writes nothing, for an instrument without a check.
func WriteCheck(w io.Writer, bench, back string, s view.Sensor, recorded []history.Check, l words.Locale) (written bool, err error) {
	d := checkData{Language: l.Code(), Bench: bench, Back: back, Style: template.CSS(Style()), Title: l.Say("check-record.title", "device", s.ID)}
	switch {
	case s.ScaleCheck != nil:
		d.scale(s, l)
		d.Elsewhere = l.Say("check-record.earlier-scale")
	case len(s.CheckPoints) > 0:
		d.sensor(s, l)
		d.earlier(s, recorded, l)
	default:
		return false, nil
	}
	if s.CheckDue != nil {
		d.Totals = append(d.Totals, [2]string{l.Say("check-record.due"), l.Day(*s.CheckDue)})
	}
	if s.CheckFailed != "" {
		d.Notes = append(d.Notes, s.CheckFailed)
	}
	t, err := template.New("check").Funcs(template.FuncMap{"say": l.Say}).Parse(checkLayout)
	if err != nil {
		return false, fmt.Errorf("record of a check: %w", err)
	}
	return true, t.Execute(w, d)
}

// person names who recorded a check, as the pages do.
func person(by actor.Name, l words.Locale) string {
	if by == actor.Local {
		return l.Say("who.local")
	}
	return string(by)
}

func (d *checkData) scale(s view.Sensor, l words.Locale) {
	c := s.ScaleCheck
	d.Verdict = l.Say("check-record.verdict-" + string(c.Verdict))
	d.Totals = [][2]string{
		{l.Say("check-record.checked"), l.Day(c.At)}, {l.Say("check-record.by"), person(c.By, l)}, {l.Say("check-record.class"), string(c.Class)},
	}
	if c.WeightClass != "" {
		d.Totals = append(d.Totals, [2]string{l.Say("check-record.weights"), string(c.WeightClass)})
	}
	if c.Note != "" {
		d.Totals = append(d.Totals, [2]string{l.Say("check-record.note"), c.Note})
	}
	d.Table = chart.Table{Caption: l.Say("check-record.loads"), Head: []string{
		l.Say("check-record.load"), l.Say("check-record.n"), l.Say("check-record.error"), l.Say("check-record.uncertainty"), l.Say("check-record.spread"),
		l.Say("check-record.initial"), l.Say("check-record.in-service"), l.Say("check-record.result"),
	}}
	g := func(x float64) string { return l.Number(x, 3) }
	for _, x := range c.Loads {
		d.Table.Rows = append(d.Table.Rows, []string{
			g(x.LoadG), strconv.Itoa(x.N), g(x.ErrorG), g(x.UncertaintyG), g(x.SpreadG), g(x.InitialG), g(x.InServiceG), l.Say("check-record.verdict-" + string(x.Verdict)),
		})
		if x.CoarseWeights {
			d.Notes = append(d.Notes, l.Say("check-record.coarse", "load", l.Grams(x.LoadG)))
		}
	}
}

func (d *checkData) sensor(s view.Sensor, l words.Locale) {
	verdict := verify.Passed
	if s.CheckFailed != "" {
		verdict = verify.Failed
	}
	d.Verdict = l.Say("check-record.verdict-" + string(verdict))
	if s.Checked != nil {
		d.Totals = append(d.Totals, [2]string{l.Say("check-record.passed"), l.Day(*s.Checked)})
	}
	d.Table = chart.Table{Caption: l.Say("check-record.humidity"), Head: []string{
		l.Say("check-record.on"), l.Say("check-record.reference"), l.Say("check-record.reference-pct"), l.Say("check-record.read"),
		l.Say("check-record.off"), l.Say("check-record.uncertainty"), l.Say("check-record.allowed"), l.Say("check-record.result"),
	}}
	for _, p := range s.CheckPoints {
		reference, result := l.Say("check-record.meter"), verify.Passed
		if salt, ok := verify.FindSalt(p.Salt); ok {
			reference = l.Say("check-record.salt", "formula", salt.Formula)
		}
		if !p.Passed {
			result = verify.Failed
		}
		n := func(x float64) string { return l.Number(x, 1) }
		d.Table.Rows = append(d.Table.Rows, []string{
			l.Day(p.At), reference, n(p.ReferencePct), n(p.ReadPct), n(p.OffPct), n(p.UncertaintyPct), n(p.AllowedPct), l.Say("check-record.verdict-" + string(result)),
		})
		if p.By != "" {
			said := l.Say("check-record.point", "day", l.Day(p.At), "reference", reference, "by", person(p.By, l))
			if p.Note != "" {
				said = l.Say("check-record.point-note", "point", said, "note", p.Note)
			}
			d.Notes = append(d.Notes, said)
		}
		if p.Override != "" {
			d.Notes = append(d.Notes, l.Say("check-record.override", "why", p.Override))
		}
	}
	if c := s.Correction; c != nil {
		d.Notes = append(d.Notes, l.Say("check-record.corrected", "offset", l.Number(c.OffsetPct, 2), "gain", l.Number(c.Gain, 4), "uncertainty", l.Percent(c.UncertaintyPct, 1)))
	}
}

// earlier lists the recorded checks that are not among the points of the newest one, the newest first.
func (d *checkData) earlier(s view.Sensor, recorded []history.Check, l words.Locale) {
	d.Earlier = chart.Table{Caption: l.Say("check-record.earlier-humidity"), Head: []string{
		l.Say("check-record.on"), l.Say("check-record.reference-pct"), l.Say("check-record.read"), l.Say("check-record.off"), l.Say("check-record.allowed"),
		l.Say("check-record.result"), l.Say("check-record.by"), l.Say("check-record.note"),
	}}
	n := func(x *float64) string {
		if x == nil {
			return ""
		}
		return l.Number(*x, 1)
	}
	for _, c := range slices.Backward(recorded) {
		if slices.ContainsFunc(s.CheckPoints, func(p view.SensorCheckPoint) bool { return p.At.Equal(c.Time) }) {
			continue
		}
		result := verify.Passed
		if !c.Passed {
			result = verify.Failed
		}
		d.Earlier.Rows = append(d.Earlier.Rows, []string{
			l.Day(c.Time), n(&c.ReferencePct), n(c.ReadPct), n(c.OffPct), n(&c.AllowedPct), l.Say("check-record.verdict-" + string(result)), person(c.By, l), c.Note,
		})
	}
}
