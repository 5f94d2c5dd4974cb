// Package report makes the report of a period or of a lot: one HTML file with everything in it,
// which opens without a network and prints on A4 and Letter. It shows the air and the batches
// that lived in it, rejects and control charts, the study of humidity, the checks of the
// sensors, and how forecasts were kept.
package report

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"regexp"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/chart"
	"potlifed/daemon/figures"
	"potlifed/daemon/history"
	"potlifed/daemon/study"
	"potlifed/daemon/words"
	"potlifed/model/quality"
)

// ErrNoLot means that no ended batch of the period has the lot in it.
var ErrNoLot = errors.New("no batch that ended in this period has this lot in it")

// History is what a bench has stored. The errors are those of reading.
type History interface {
	ZoneAir(ctx context.Context, zone string, from, to time.Time, step history.Step, limit int) ([]history.Air, error)
	Batches(ctx context.Context, find history.Search, limit int) ([]history.Batch, error)
	Checks(ctx context.Context, sensor string, from, to time.Time, zone *time.Location, limit int) ([]history.Check, error)
}

// Study answers for the rejects. The errors are those of reading.
type Study interface {
	Study(ctx context.Context, q study.Request) (study.Answer, error)
	Chart(ctx context.Context, q study.ChartRequest) (study.Chart, error)
}

// Press is a press and the zone in which it stands.
type Press struct{ ID, Zone string }

// Sources are what a report is made from.
type Sources struct {
	Bench   string // name of the bench
	History History
	Study   Study
	Zones   []string
	Presses []Press
	Locale  words.Locale
	Kind    func(id string) string // the words of a kind of defect
}

// Request is what is reported. To is not included. With a lot, only batches with this lot in them
// are reported, and the period is that of their lives.
type Request struct {
	From, To time.Time
	Lot      string
	Back     string // the path of the page that led to the report; empty for a file
}

// mostRows bounds what is read for one part of a report.
const mostRows = 200_000

//go:embed report.html
var layout string

//go:embed report.css
var style string

// Style is the style sheet of a report, which stands in the file.
func Style() string { return chart.Style + style }

// data is what the layout shows.
type data struct {
	Language, Title, Bench, Period string
	Back                           string
	Style                          template.CSS
	Totals                         [][2]string
	Headline                       string
	Sentences                      []string
	Parts                          []part
}

// part is a titled part of the report, with its picture and its tables.
type part struct {
	Title, About string
	Picture      template.HTML
	Tables       []chart.Table
	Folded       bool // the tables repeat the picture
}

// Write makes a report and writes it. Its error is ErrNoLot, that of reading, or the writer's.
func Write(ctx context.Context, w io.Writer, s Sources, q Request) error {
	batches, err := s.History.Batches(ctx, history.Search{From: q.From, To: q.To}, mostRows)
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	if q.Lot != "" {
		batches = slices.DeleteFunc(batches, func(b history.Batch) bool { return !slices.Contains(strings.Fields(b.Lots), q.Lot) })
		if len(batches) == 0 {
			return fmt.Errorf("report: %w: %s", ErrNoLot, q.Lot)
		}
		q.From, q.To = lives(batches)
	}
	m := maker{s, q, figures.Maker{Locale: s.Locale, Width: 1000}, batches, map[string][]history.Air{}}
	d, err := m.data(ctx)
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	t, err := template.New("report").Funcs(template.FuncMap{"say": s.Locale.Say, "rows": rowsOf}).Parse(layout)
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	return t.Execute(w, d)
}

// ids are names with hyphens in them, at which a browser would break a line. A longer name may be broken: a cell
// that is wider than the paper would be cut.
var ids = regexp.MustCompile(`\b\w{1,12}(?:-\w{1,12}){1,3}\b`)

// rowsOf returns the rows of a table. A report of a year has thousands of cells, for which the template takes five
// times as long.
func rowsOf(rows [][]string) template.HTML {
	var out strings.Builder
	for _, row := range rows {
		out.WriteString("<tr>")
		for _, cell := range row {
			out.WriteString("<td>")
			if cell = template.HTMLEscapeString(cell); strings.Contains(cell, "-") {
				cell = ids.ReplaceAllString(cell, `<span class="id">$0</span>`)
			}
			out.WriteString(cell)
			out.WriteString("</td>")
		}
		out.WriteString("</tr>\n")
	}
	return template.HTML(out.String())
}

// lives returns the period from the first mixing to the last end.
func lives(batches []history.Batch) (from, to time.Time) {
	for i, b := range batches {
		begun := b.ClosedAt
		if b.MixedAt != nil {
			begun = *b.MixedAt
		}
		if i == 0 || begun.Before(from) {
			from = begun
		}
		if b.ClosedAt.After(to) {
			to = b.ClosedAt
		}
	}
	return from, to.Add(time.Second)
}

// maker makes the parts.
type maker struct {
	Sources
	Request
	draw    figures.Maker
	batches []history.Batch
	read    map[string][]history.Air // the air of each zone that was read
}

func (m maker) data(ctx context.Context) (data, error) {
	l := m.Locale
	d := data{
		Language: l.Code(), Title: l.Say("report.title"), Bench: m.Bench, Back: m.Back, Style: template.CSS(Style()),
		Period: l.Say("report.period", "from", m.day(m.From), "to", m.day(m.To.Add(-time.Second))),
	}
	if m.Lot != "" {
		d.Title = l.Say("report.lot", "lot", m.Lot)
	}
	prints, defects := int64(0), int64(0)
	for _, b := range m.batches {
		prints, defects = prints+b.Prints, defects+b.Defects
	}
	if len(m.batches) > 0 {
		d.Totals = [][2]string{
			{l.Say("report.batches"), m.recorded(int64(len(m.batches)))},
			{l.Say("report.prints"), m.recorded(prints)},
			{l.Say("report.rejects"), m.recorded(defects)},
		}
	}
	for _, make := range []func(context.Context, *data) error{m.air, m.study, m.control, m.kept, m.checks, m.ended} {
		if err := make(ctx, &d); err != nil {
			return d, err
		}
	}
	return d, nil
}

// recorded writes a count. That nothing was recorded does not say that there was nothing.
func (m maker) recorded(n int64) string {
	if n == 0 {
		return m.Locale.Say("report.none-recorded")
	}
	return m.Locale.Number(float64(n), 0)
}

func (m maker) day(at time.Time) string { return m.Locale.Day(m.Locale.In(at)) }

// add draws a figure as a part of the report, or says that it has no data.
func (m maker) add(d *data, f chart.Figure) error {
	tables := m.draw.Tables(f)
	if len(tables) == 0 {
		d.Parts = append(d.Parts, part{Title: f.Title, About: f.Empty})
		return nil
	}
	var svg bytes.Buffer
	if err := f.Render(&svg); err != nil {
		return err
	}
	d.Parts = append(d.Parts, part{Title: f.Title, About: f.About, Picture: template.HTML(svg.String()), Tables: tables, Folded: true})
	return nil
}

// in returns the air of the zones in intervals that a picture can show.
func (m maker) in(ctx context.Context, zones ...string) ([]history.Air, error) {
	of := strings.Join(zones, "\x00")
	if rows, known := m.read[of]; known {
		return rows, nil
	}
	rows, err := history.PictureOf(m.From, m.To, m.draw.Zone(), func(from time.Time, step history.Step) (all []history.Air, err error) {
		for _, zone := range zones {
			rows, err := m.History.ZoneAir(ctx, zone, from, m.To, step, mostRows)
			if err != nil {
				return nil, err
			}
			all = append(all, rows...)
		}
		return all, nil
	})
	if err == nil {
		m.read[of] = rows
	}
	return rows, err
}

func (m maker) air(ctx context.Context, d *data) error {
	rows, err := m.in(ctx, m.Zones...)
	if err != nil {
		return err
	}
	return m.add(d, m.draw.Air(m.From, m.To, rows, m.batches))
}

func (m maker) study(ctx context.Context, d *data) error {
	a, err := m.Study.Study(ctx, study.Request{Filter: study.Filter{From: m.From, To: m.To}, Relevant: quality.UsualRelevant})
	if err != nil {
		return err
	}
	a = a.Tell(m.Locale, m.Kind)
	d.Headline, d.Sentences = a.Headline, a.Sentences
	for _, c := range a.Curves {
		if c.Factor == quality.VapourDensity.String() && c.Kind == study.All {
			if err := m.add(d, m.draw.Curve("curve", c, "")); err != nil {
				return err
			}
		}
	}
	effects := chart.Table{Caption: m.Locale.Say("report.effects"), Head: []string{m.Locale.Say("report.condition"), m.Locale.Say("report.effect"), m.Locale.Say("report.figures"), m.Locale.Say("report.sure")}}
	for _, e := range a.Effects {
		if e.Reason == "" && (e.Found || e.Kind == study.All) {
			effects.Rows = append(effects.Rows, []string{study.ConditionWords(m.Locale, e.Factor), e.Words, e.Figures, e.Sure})
		}
	}
	if len(effects.Rows) > 0 {
		d.Parts = append(d.Parts, part{Title: effects.Caption, Tables: []chart.Table{effects}})
	}
	return nil
}

func (m maker) control(ctx context.Context, d *data) error {
	for _, p := range m.Presses {
		c, err := m.Study.Chart(ctx, study.ChartRequest{From: m.From, To: m.To, Press: p.ID})
		if err != nil {
			return err
		}
		if len(c.Points) == 0 {
			continue
		}
		air, err := m.in(ctx, p.Zone)
		if err != nil {
			return err
		}
		on := slices.DeleteFunc(slices.Clone(m.batches), func(b history.Batch) bool { return b.Press != p.ID })
		if err := m.add(d, m.draw.Control(c, m.From, m.To, air, on)); err != nil {
			return err
		}
	}
	return nil
}

func (m maker) kept(_ context.Context, d *data) error {
	k := quality.NewKept(figures.Forecasted(m.batches))
	if k.Gone == 0 {
		return nil
	}
	return m.add(d, m.draw.Kept(k))
}

func (m maker) checks(ctx context.Context, d *data) error {
	checks, err := m.History.Checks(ctx, "", m.From, m.To, m.draw.Zone(), mostRows)
	if err != nil || len(checks) == 0 {
		return err
	}
	return m.add(d, m.draw.Checks(m.From, m.To, checks))
}

// whole returns a text that is not broken at its spaces: a table of batches has a line for each piece else.
func whole(text string) string { return strings.ReplaceAll(text, " ", "\u00a0") }

// ended lists the batches.
func (m maker) ended(_ context.Context, d *data) error {
	l := m.Locale
	t := chart.Table{Caption: l.Say("report.batches")}
	for _, column := range []string{"batch", "ink", "press", "mixed", "end", "outcome", "age", "spent", "humidity", "prints", "rejects", "lots"} {
		t.Head = append(t.Head, l.Say("report.column."+column))
	}
	moment := func(at *time.Time) string {
		if at == nil {
			return ""
		}
		return whole(m.day(*at)) + " " + l.In(*at).Format("15:04")
	}
	percent := func(v *float64, scale float64) string {
		if v == nil {
			return ""
		}
		return l.Percent(*v*scale, 0)
	}
	for _, b := range m.batches {
		age := ""
		if b.AgeS != nil {
			age = whole(l.Duration(time.Duration(*b.AgeS * float64(time.Second))))
		}
		t.Rows = append(t.Rows, []string{
			b.ID, b.Ink, b.Press, moment(b.MixedAt), moment(&b.ClosedAt), l.Say("figure.end." + string(b.Outcome)), age, percent(b.Spent, 100),
			percent(b.MeanHumidityPct, 1), l.Number(float64(b.Prints), 0), l.Number(float64(b.Defects), 0), b.Lots,
		})
	}
	if len(t.Rows) > 0 {
		d.Parts = append(d.Parts, part{Title: t.Caption, Tables: []chart.Table{t}})
	}
	return nil
}
