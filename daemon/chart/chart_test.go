package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// sample is a figure with every kind of layer.
func sample() Figure {
	zone := time.UTC
	begin := time.Date(2026, 6, 12, 6, 0, 0, 0, zone)
	hour := func(h float64) float64 { return X(begin.Add(time.Duration(h * float64(time.Hour)))) }
	humidity, other := Line{Name: "bench", Tone: Series1}, Line{Name: "hall", Tone: Series2}
	band := Band{Name: "range", Tone: Series1}
	for h := 0.0; h <= 24; h += 0.25 {
		v := 50 + 12*math.Sin(h/24*2*math.Pi)
		if h > 9 && h < 10 {
			v = math.NaN()
		}
		humidity.Points = append(humidity.Points, Point{hour(h), v})
		band.Points = append(band.Points, Interval{hour(h), v - 3, v + 3})
		other.Points = append(other.Points, Point{hour(h), 45 + h/3})
	}
	return Figure{
		ID: "air", Title: "Air & batches", About: "Humidity of two zones, with the batches below.", Empty: "No data yet.",
		X: Axis{Time: zone}, Width: 800, Height: 420,
		Panels: []Panel{
			{Y: Axis{Label: "humidity, %"}, Share: 2, Layers: []Layer{
				band, humidity, other,
				Rule{Name: "limit", Tone: Limit, At: 60, Text: "60 %"},
				Marks{Name: "looked at", Tone: Series3, Points: []Mark{
					{X: hour(6), Y: 55, Low: 52, High: 58, Text: "0612-3"}, {X: hour(12), Y: 40, Text: "0612-4", Alarm: true},
				}},
			}},
			{Y: Axis{Label: "batch"}, Rows: []string{"press-1", "press-2"}, Layers: []Layer{
				Spans{Name: "batches", Spans: []Span{
					{hour(1), hour(7), 0, "0612-3", Series1}, {hour(7), hour(14), 0, "0612-5", Series2}, {hour(3), hour(11), 1, "0612-4", Series3},
				}},
				Rule{Tone: Alarm, At: hour(14), Vertical: true, Text: "gone off"},
			}},
		},
	}
}

func TestRender(t *testing.T) {
	var out bytes.Buffer
	f := sample()
	if err := f.Render(&out); err != nil {
		t.Fatal(err)
	}
	svg := out.String()
	if dir := os.Getenv("POTLIFED_CHART_PICTURES"); dir != "" {
		page := "<!doctype html><meta charset=utf-8><style>body{font-family:sans-serif;background:Canvas;color-scheme:light dark}" + Style + "</style>" + svg
		if err := os.WriteFile(filepath.Join(dir, "sample.html"), []byte(page), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	// It is well-formed, and no shape has a colour or a style of its own.
	reader := xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := reader.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		for _, a := range start.Attr {
			if a.Name.Local == "style" || a.Name.Local == "fill" || a.Name.Local == "stroke" {
				t.Errorf("<%s> has %s=%q", start.Name.Local, a.Name.Local, a.Value)
			}
		}
	}
	for _, want := range []string{
		"<title id=\"air-title\">Air &amp; batches</title>", "aria-labelledby=\"air-title air-about\"",
		"0612-3, looked at, 12 Jun 2026 12:00: 55 (52 – 58)", "press-1, 0612-3: 12 Jun 2026 07:00 – 12 Jun 2026 13:00", "gone off", "60 %",
	} {
		if !strings.Contains(svg, want) {
			t.Errorf("the picture does not contain %q", want)
		}
	}
	if got := strings.Count(svg, `tabindex="0"`); got != 1 {
		t.Errorf("%d marks are reached by the tab key, want the first one", got)
	}
}

// TestTextsOfVerticalRulesDoNotOverlap: on a narrow screen two rules may be nearer than their texts are
// long; then they are on two lines.
func TestTextsOfVerticalRulesDoNotOverlap(t *testing.T) {
	for _, c := range []struct {
		name          string
		first, second time.Duration
		lines         int
	}{{"near", 13 * time.Hour, 14 * time.Hour, 2}, {"at the right edge", 22 * time.Hour, 23 * time.Hour, 2}, {"far", 2 * time.Hour, 14 * time.Hour, 1}} {
		f := sample()
		f.Width = 320
		begin := time.Date(2026, 6, 12, 6, 0, 0, 0, time.UTC)
		rule := func(in time.Duration, text string) Rule {
			return Rule{Tone: Quiet, At: X(begin.Add(in)), Vertical: true, Text: text}
		}
		f.Panels[0].Layers = append(f.Panels[0].Layers, rule(c.first, "still good"), rule(c.second, "went off"))
		var out bytes.Buffer
		if err := f.Render(&out); err != nil {
			t.Fatal(err)
		}
		heights := map[string]bool{}
		for _, text := range []string{"still good", "went off"} {
			found := regexp.MustCompile(`<text[^>]*\by="([^"]+)"[^>]*>` + text + `<`).FindStringSubmatch(out.String())
			if found == nil {
				t.Fatalf("%s: %q is missing in\n%s", c.name, text, out.String())
			}
			heights[found[1]] = true
		}
		if len(heights) != c.lines {
			t.Errorf("%s: the texts are on %d lines, want %d", c.name, len(heights), c.lines)
		}
	}
}

func TestTables(t *testing.T) {
	tables := sample().Tables(Words{"from", "to", "low", "high", "what"})
	captions := map[string]int{}
	for _, table := range tables {
		captions[table.Caption] = len(table.Rows)
		for _, row := range table.Rows {
			if len(row) != len(table.Head) {
				t.Fatalf("%s: %d cells under %d headings", table.Caption, len(row), len(table.Head))
			}
		}
	}
	// 97 quarters of an hour, three of them in the gap.
	want := map[string]int{"range": 94, "bench": 94, "hall": 97, "looked at": 2, "batches": 3}
	for caption, rows := range want {
		if captions[caption] != rows {
			t.Errorf("%s: %d rows, want %d", caption, captions[caption], rows)
		}
	}
}

func TestEmpty(t *testing.T) {
	var out bytes.Buffer
	f := sample()
	f.Panels = []Panel{{Layers: []Layer{Line{Name: "bench", Points: []Point{{1, math.NaN()}}}}}}
	if err := f.Render(&out); err != nil || !strings.Contains(out.String(), "No data yet.") {
		t.Errorf("%v: %s", err, &out)
	}
}

func TestRefused(t *testing.T) {
	for name, spoil := range map[string]func(*Figure){
		"no panel":         func(f *Figure) { f.Panels = nil },
		"too wide":         func(f *Figure) { f.Width = 5000 },
		"infinite":         func(f *Figure) { f.Panels[0].Layers = []Layer{Line{Points: []Point{{1, math.Inf(1)}}}} },
		"X is no number":   func(f *Figure) { f.Panels[0].Layers = []Layer{Line{Points: []Point{{math.NaN(), 1}}}} },
		"runs back":        func(f *Figure) { f.Panels[0].Layers = []Layer{Line{Points: []Point{{2, 1}, {1, 1}}}} },
		"low above high":   func(f *Figure) { f.Panels[0].Layers = []Layer{Band{Points: []Interval{{1, 3, 2}}}} },
		"ends before":      func(f *Figure) { f.Panels[1].Layers = []Layer{Spans{Spans: []Span{{2, 1, 0, "", Series1}}}} },
		"no such row":      func(f *Figure) { f.Panels[1].Layers = []Layer{Spans{Spans: []Span{{1, 2, 2, "", Series1}}}} },
		"mark is infinite": func(f *Figure) { f.Panels[0].Layers = []Layer{Marks{Points: []Mark{{X: 1, Y: math.Inf(-1)}}}} },
	} {
		f := sample()
		spoil(&f)
		if err := f.Render(io.Discard); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// Days begin at midnight of the zone also when one has 23 or 25 hours.
func TestTimeTicks(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip(err)
	}
	from := time.Date(2026, 3, 27, 0, 0, 0, 0, zone) // the clocks change on the 29th
	ticks := timeTicks(zone, 900)(X(from), X(from.AddDate(0, 0, 5)))
	if len(ticks) != 6 {
		t.Fatalf("%d ticks: %v", len(ticks), ticks)
	}
	for i, tick := range ticks {
		if when := at(tick.value, zone); when.Hour() != 0 || when.Day() != 27+i && i < 5 {
			t.Errorf("tick %d is at %v", i, when)
		}
	}
	// Labels some hours apart are at the same hours of the clock before and after a change of the clocks.
	for _, change := range []time.Time{from, time.Date(2026, 10, 23, 0, 0, 0, 0, zone)} {
		for _, c := range []struct{ days, hours int }{{4, 12}, {2, 6}} {
			begin := change.AddDate(0, 0, 1)
			ticks := timeTicks(zone, 1000)(X(begin), X(begin.AddDate(0, 0, c.days)))
			for i, tick := range ticks {
				if when := at(tick.value, zone); when.Hour()%c.hours != 0 || i > 0 && tick.value <= ticks[i-1].value {
					t.Errorf("%d days, tick %d is at %v", c.days, i, when)
				}
			}
			if want := c.days*24/c.hours + 1; len(ticks) != want {
				t.Errorf("%d days: %d ticks, want %d", c.days, len(ticks), want)
			}
		}
	}
	// Twenty minutes to ten years: never more than nine labels, and at least two.
	for span := 20 * time.Minute; span < 10*365*24*time.Hour; span = span * 3 / 2 {
		got := timeTicks(zone, 900)(X(from), X(from.Add(span)))
		if len(got) < 2 || len(got) > 13 {
			t.Errorf("%v: %d ticks", span, len(got))
		}
	}
}

func TestFigureTicks(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		want      string
	}{{0, 1, "0.0 0.2 0.4 0.6 0.8 1.0"}, {35, 62, "35 40 45 50 55 60"}, {-3, 3, "-3 -2 -1 0 1 2 3"}, {0, 1e-3, "0.0000 0.0002 0.0004 0.0006 0.0008 0.0010"}, {0, 9000, "0 2000 4000 6000 8000"}} {
		var got []string
		for _, tick := range figureTicks(c.low, c.high) {
			got = append(got, tick.label)
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%v to %v: %s, want %s", c.low, c.high, strings.Join(got, " "), c.want)
		}
	}
	for _, bad := range [][2]float64{{1, 1}, {2, 1}, {math.NaN(), 1}, {0, math.Inf(1)}} {
		if got := figureTicks(bad[0], bad[1]); got != nil {
			t.Errorf("%v: %v", bad, got)
		}
	}
}

// On the Pi: less than 50 ms for a figure of 4,000 points.
func BenchmarkRender(b *testing.B) {
	f := sample()
	l := Line{Name: "year", Tone: Series1}
	for i := range 4000 {
		l.Points = append(l.Points, Point{X(time.Unix(1780000000+int64(i)*900, 0)), 50 + 10*math.Sin(float64(i)/9)})
	}
	f.Panels[0].Layers = []Layer{l}
	b.ReportAllocs()
	for b.Loop() {
		if err := f.Render(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}

// TestClippedLinesStayInside: what is left of a line or an area lies in the box, a line within it is
// not changed, and what is cut off is no more than what was outside.
func TestClippedLinesStayInside(t *testing.T) {
	in := box{vec{0, 0}, vec{10, 5}}
	within := func(p vec) bool { return p.x >= 0 && p.x <= 10 && p.y >= 0 && p.y <= 5 }
	rapid.Check(t, func(t *rapid.T) {
		place := rapid.Custom(func(t *rapid.T) vec {
			return vec{rapid.Float64Range(-20, 30).Draw(t, "x"), rapid.Float64Range(-20, 30).Draw(t, "y")}
		})
		line := rapid.SliceOfN(place, 2, 12).Draw(t, "line")
		kept := map[vec]bool{}
		for _, part := range in.clipLine(line) {
			if len(part) < 2 {
				t.Errorf("a part of %d places", len(part))
			}
			for _, p := range part {
				kept[p] = true
				if !in.has(p) {
					t.Errorf("%v is outside", p)
				}
			}
		}
		for i, p := range line {
			if i > 0 && within(p) && within(line[i-1]) && !kept[p] {
				t.Errorf("%v is lost", p)
			}
		}
		for _, p := range in.clipArea(line) {
			if !in.has(p) {
				t.Errorf("%v of an area is outside", p)
			}
		}
	})
	across := in.clipLine([]vec{{-5, 1}, {5, 1}, {5, 20}, {8, 20}, {8, 2}})
	if want := [][]vec{{{0, 1}, {5, 1}, {5, 5}}, {{8, 5}, {8, 2}}}; !reflect.DeepEqual(across, want) {
		t.Errorf("%v, want %v", across, want)
	}
}

// TestTextWidth compares with the advance widths of Liberation Sans at 12 px, to a tenth of a pixel.
func TestTextWidth(t *testing.T) {
	for text, want := range map[string]float64{"": 0, "humidity, %": 62.0, "0612-3": 37.4, "MW": 21.3} {
		if got := textWidth(text); math.Abs(got-want) > 0.1 {
			t.Errorf("%q: %v, want %v", text, got, want)
		}
	}
}

// TestTimesHaveRoom: on a picture of any width, the labels of a time axis do not run into each other.
func TestTimesHaveRoom(t *testing.T) {
	zone := time.UTC
	from := time.Date(2026, 3, 1, 17, 40, 0, 0, zone)
	for _, width := range []int{240, 320, 358, 600, 900, 1400} {
		for _, span := range []time.Duration{time.Hour, 5 * time.Hour, 24 * time.Hour, 3 * 24 * time.Hour, 8 * 24 * time.Hour, 31 * 24 * time.Hour, 366 * 24 * time.Hour} {
			ticks := timeTicks(zone, width)(X(from), X(from.Add(span)))
			perSecond := float64(width-verticalAxis) / span.Seconds()
			for i, tick := range ticks {
				if i == 0 {
					continue
				}
				room := (tick.value - ticks[i-1].value) * perSecond
				if need := letter * float64(len(tick.label)+len(ticks[i-1].label)) / 2; room < need {
					t.Errorf("%d px, %v: %q and %q are %.0f px apart and need %.0f", width, span, ticks[i-1].label, tick.label, room, need)
				}
			}
		}
	}
}

// TestTheAxisLeavesRoomForItsLabels: in a font that is wider than the measured one by [wider], the labels of the ticks
// keep clear of the label of the axis.
func TestTheAxisLeavesRoomForItsLabels(t *testing.T) {
	a := axes{label: "Batches", yTicks: []tick{{label: "press-1"}}}
	if got, need := a.width()-lineHeight-tickLength, wider*textWidth("press-1"); got < need {
		t.Errorf("%v px for %v px of text", got, need)
	}
}
