package report

import (
	"context"
	"errors"
	"html"
	"regexp"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/history"
	"potlifed/daemon/study"
	"potlifed/daemon/words"
	"potlifed/model/lifecycle"
	"potlifed/model/quality"
)

var monday = time.Date(2026, 6, 8, 0, 0, 0, 0, time.UTC)

// stored is a bench with two batches and a press that printed.
type stored struct{ err error }

func (s stored) ZoneAir(_ context.Context, zone string, from, _ time.Time, _ history.Step, _ int) ([]history.Air, error) {
	return []history.Air{{Time: from, To: from.Add(time.Hour), Zone: zone, HumidityPct: 48, LowHumidityPct: 47, HighHumidityPct: 49}}, s.err
}

func (s stored) Batches(_ context.Context, find history.Search, _ int) ([]history.Batch, error) {
	var found []history.Batch
	for i, lots := range []string{"A-1 B-2", "A-3 <i>&"} {
		mixed := monday.Add(time.Duration(8+24*i) * time.Hour)
		b := history.Batch{ID: []string{"0608-1", "0609-1"}[i], Ink: "gloss-4", Press: "press-1", MixedAt: &mixed, ClosedAt: mixed.Add(5 * time.Hour), Outcome: lifecycle.UsedUp, Lots: lots, Prints: 1200, Defects: 7}
		if !b.ClosedAt.Before(find.From) && b.ClosedAt.Before(find.To) {
			found = append(found, b)
		}
	}
	return found, s.err
}

func (s stored) Checks(context.Context, string, time.Time, time.Time, *time.Location, int) ([]history.Check, error) {
	return nil, s.err
}

func (s stored) Study(context.Context, study.Request) (study.Answer, error) {
	return study.Make(context.Background(), study.NewTable(study.Filter{}), quality.Options{Relevant: quality.UsualRelevant}, time.UTC)
}

func (s stored) Chart(_ context.Context, q study.ChartRequest) (study.Chart, error) {
	return study.Chart{Press: q.Press, Centre: 0.01, Points: []study.ChartPoint{{From: q.From, To: q.From.Add(time.Hour), Prints: 100, Defects: 1, Rate: 0.01, High: 0.04}}}, s.err
}

// TestReportOfNothing: a period without records has no zeros that read like a count, and no sentence that
// reads like a finding.
func TestReportOfNothing(t *testing.T) {
	out, err := written(t, stored{}, Request{From: monday.AddDate(0, 1, 0), To: monday.AddDate(0, 1, 7)})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"No batch ended in this period", "Nothing can be said yet: no prints were reported."} {
		if !strings.Contains(out, want) {
			t.Errorf("it does not say %q", want)
		}
	}
	for _, unwanted := range []string{"<dd>0</dd>", "25\u00a0%", "more rejects", "fewer rejects"} {
		if _, body, _ := strings.Cut(out, "</style>"); strings.Contains(body, unwanted) {
			t.Errorf("it says %q", unwanted)
		}
	}
}

// found is a bench with one effect, which has a condition.
type found struct{ stored }

func (found) Study(context.Context, study.Request) (study.Answer, error) {
	weeks, ratio := 3.0, 1.1
	return study.Answer{Verdict: quality.NotEnough, Effects: []study.Effect{{Kind: study.All, Factor: quality.RelativeHumidity.String(), Ratio: &ratio, Low: &ratio, WeeksMore: &weeks}}}, nil
}

// TestReportNamesConditions: a row that says that records are too few says of which condition.
func TestReportNamesConditions(t *testing.T) {
	out, err := written(t, found{}, Request{From: monday, To: monday.AddDate(0, 0, 7)})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out, "Condition") || !strings.Contains(out, "Relative humidity, %") {
		t.Error("no condition is named")
	}
}

// TestReportKeepsIdsWhole: a table on paper does not break a name at its hyphen.
func TestReportKeepsIdsWhole(t *testing.T) {
	if got, want := string(rowsOf([][]string{{"0608-1", "gloss-4 <&>", "A-1 B-2", "12 Jun"}})),
		`<tr><td><span class="id">0608-1</span></td><td><span class="id">gloss-4</span> &lt;&amp;&gt;</td><td><span class="id">A-1</span> <span class="id">B-2</span></td><td>12 Jun</td></tr>`+"\n"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

func written(t *testing.T, s interface {
	History
	Study
}, q Request) (string, error) {
	t.Helper()
	return writtenIn(t, words.Locale{Zone: time.UTC}, s, q)
}

func writtenIn(t *testing.T, l words.Locale, s interface {
	History
	Study
}, q Request) (string, error) {
	t.Helper()
	var out strings.Builder
	err := Write(t.Context(), &out, Sources{
		Bench: "bench-1", History: s, Study: s, Zones: []string{"bench"}, Presses: []Press{{"press-1", "hall"}},
		Locale: l, Kind: func(id string) string { return id },
	}, q)
	return out.String(), err
}

// warm is a bench with an effect of the temperature.
type warm struct{ stored }

func (warm) Study(context.Context, study.Request) (study.Answer, error) {
	ratio, low, high, days := 1.1, 1.05, 1.2, 30
	bins := []study.Bin{{Mean: 20, Rate: 0.01, RateHigh: 0.02, Prints: 100, Defects: 1}, {Mean: 25, Rate: 0.02, RateHigh: 0.03, Prints: 100, Defects: 2}}
	return study.Answer{
		Verdict: quality.MoreDefects, Prints: 200, Relevant: 0.25,
		Effects: []study.Effect{{Kind: study.All, Factor: quality.Temperature.String(), Ratio: &ratio, Low: &low, High: &high, Found: true}},
		Curves:  []study.Curve{{Kind: study.All, Factor: quality.Temperature.String(), Bins: bins}},
		Days:    days,
	}, nil
}

// TestReportInPseudoLanguage: all that a report says is from the catalogue, and its temperatures are in the
// unit of the shop.
func TestReportInPseudoLanguage(t *testing.T) {
	l := words.Locale{Language: words.Pseudo(words.English()), Zone: time.UTC, Fahrenheit: true}
	for name, s := range map[string]interface {
		History
		Study
	}{"batches": stored{}, "a condition": found{}, "temperature": warm{}} {
		for _, q := range []Request{{From: monday, To: monday.AddDate(0, 0, 7)}, {From: monday, To: monday.AddDate(0, 0, 7), Lot: "B-2"}, {From: monday.AddDate(0, 1, 0), To: monday.AddDate(0, 1, 7)}} {
			out, err := writtenIn(t, l, s, q)
			if err != nil {
				t.Fatal(err)
			}
			isPseudo(t, name, out, "bench-1", "0608-1", "0609-1", "gloss-4", "press-1", "A-1", "B-2", "A-3", "bench", "hall", "<i>", "pinholes")
			if name == "temperature" && q.Lot == "" && (!strings.Contains(out, "1.8\u00a0°F") || !strings.Contains(out, "Áír témpérátüré, °F")) {
				t.Errorf("the effect of the temperature is not told in °F: %s", regexp.MustCompile(`[^>]*°F[^<]*`).FindAllString(out, -1))
			}
		}
	}
}

// isPseudo fails for each text of a document that is not from the catalogue.
func isPseudo(t *testing.T, what, document string, given ...string) {
	t.Helper()
	document = regexp.MustCompile(`(?s)<style>.*?</style>`).ReplaceAllString(document, "")
	for _, text := range regexp.MustCompile(`<[^>]*>`).Split(document, -1) {
		if english := words.NotPseudo(html.UnescapeString(text), given...); english != "" {
			t.Errorf("%s: %q of %q is not from the catalogue", what, english, text)
		}
	}
	for _, m := range regexp.MustCompile(`(?:aria-label|alt|title)="([^"]*)"`).FindAllStringSubmatch(document, -1) {
		if english := words.NotPseudo(html.UnescapeString(m[1]), given...); english != "" {
			t.Errorf("%s: %q of %q is not from the catalogue", what, english, m[1])
		}
	}
}

// TestReportStandsAlone: a report has what it should have, and loads nothing from elsewhere.
func TestReportStandsAlone(t *testing.T) {
	html, err := written(t, stored{}, Request{From: monday, To: monday.AddDate(0, 0, 7)})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"8 Jun 2026", "14 Jun 2026", "bench-1", "0608-1", "0609-1", "2400", "Control chart of press-1", "</span> &lt;i&gt;&amp;", "Nothing can be said yet"} {
		if !strings.Contains(strings.ReplaceAll(html, ",", ""), want) {
			t.Errorf("the report does not contain %q", want)
		}
	}
	if found := regexp.MustCompile(`(?i)(src|href)\s*=|@import|url\(|<script`).FindString(html); found != "" {
		t.Errorf("the report loads something: %s", found)
	}
}

func TestReportOfALot(t *testing.T) {
	q := Request{From: monday, To: monday.AddDate(0, 0, 7), Lot: "B-2"}
	html, err := written(t, stored{}, q)
	if err != nil || !strings.Contains(html, "0608-1") || strings.Contains(html, "0609-1") {
		t.Errorf("%v: the report of the lot has the wrong batches", err)
	}
	q.Lot = "A" // no lot, but the beginning of one
	if _, err := written(t, stored{}, q); !errors.Is(err, ErrNoLot) {
		t.Errorf("an unknown lot gives %v", err)
	}
}

func TestReportSaysWhatCannotBeRead(t *testing.T) {
	broken := errors.New("disk gone")
	if _, err := written(t, stored{broken}, Request{From: monday, To: monday.AddDate(0, 0, 7)}); !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
}
