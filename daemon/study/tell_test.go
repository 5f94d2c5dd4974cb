package study

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/words"
	"potlifed/model/quality"
)

func ptr(x float64) *float64 { return &x }

// humid is an answer with one effect of the water vapour.
func humid(ratio, low, high, q float64) Answer {
	e := Effect{Kind: All, Factor: "vapour_density_g_m3", Step: 1, Ratio: &ratio, Low: &low, High: &high, P: &q, Q: &q, Clusters: 60}
	return Answer{
		Relevant: 25, Model: "poisson", Clustering: quality.ByDay, DesignEffect: ptr(2.34),
		Effects: []Effect{e}, Curves: []Curve{{Kind: All, Factor: "vapour_density_g_m3"}},
	}
}

func TestTheAnswerInWords(t *testing.T) {
	yes := humid(1.12, 1.04, 1.21, 0.0004)
	yes.Verdict, yes.Kinds = quality.MoreDefects, []string{All}
	yes.Threshold = &Threshold{Kind: All, Told: true, At: ptr(11.2), Low: ptr(10.4), High: ptr(12.1), Dry: 7}
	rising := yes
	rising.Threshold = &Threshold{Kind: All, Dry: 7, RelevantAt: ptr(9.147), RelevantLow: ptr(8.2), RelevantHigh: nil}
	yes.Effects[0].Together = []string{"temperature_c"}
	no := humid(0.99, 0.96, 1.02, 0.61)
	no.Verdict = quality.NothingFound
	few := humid(1.05, 0.85, 1.3, 0.6)
	few.Verdict, few.WeeksMore = quality.NotEnough, ptr(2.2)
	few.Clustering, few.Unexposed, few.WithoutAir, few.Curved = quality.ByBatch, 1, 12, true
	long := few
	long.WeeksMore = ptr(53)
	silent := Answer{Verdict: quality.NotEnough, Relevant: 25, Clustering: quality.NotClustered, Effects: []Effect{{Kind: All, Factor: "vapour_density_g_m3", Reason: quality.NoDefects}}}
	logistic := humid(0.9, 0.8, 1.1, 0.2)
	logistic.Verdict, logistic.Model = quality.NothingFound, "logistic"
	const cause = "This is an association, not a cause."
	for _, c := range []struct {
		name     string
		a        Answer
		headline string
		says     []string
	}{
		{"yes, with a threshold", yes, "Yes: humid air goes with more rejects (all kinds together).", []string{
			"For each 1 g/m³ more water vapour: 12 % more rejects, all kinds together (95 % interval 4.0 % more to 21 % more). p is < 0.001.",
			"From about 11.2 g/m³ of water vapour on (65 % relative humidity at 20.0 °C), rejects (all kinds together) become more frequent. The threshold is between 10.4 and 12.1 g/m³ (95 % interval).",
			"the differences between 60 days, with their batches. The variance of the rates is 2.3 times that of independent prints.", "Water vapour and temperature rose and fell together", cause}},
		// 9.147 g/m³ at 20 °C are 52.9 %: saturation is 17.29 g/m³.
		{"yes, without a threshold", rising, "Yes: ", []string{
			"The data show no threshold", "from about 9.1 g/m³ on (53 % relative humidity at 20.0 °C)", "below 7.0 g/m³", "in g/m³, is 8.2 to no limit.", cause}},
		{"no", no, "No: nothing was found. An effect that matters, 25 % more rejects in the most humid tenth of the prints than in the driest tenth, is excluded.",
			[]string{"1.0 % fewer rejects, all kinds together (95 % interval 4.0 % fewer to 2.0 % more). p is 0.610.", cause}},
		{"not enough", few, "Not enough data: nothing was found yet", []string{
			"It takes about 3 more weeks of records like these.", "The rate does not rise or fall evenly",
			"60 batches. What a whole day has in common is not allowed for", "12 prints whose air is not known are left out.",
			"1 reject at a time without counted prints is left out.", cause}},
		{"not for long", long, "Not enough data", []string{"It takes more than a year of records like these."}},
		{"nothing recorded", silent, "Not enough data", []string{"cannot be estimated. Water vapour in the air: no reject was recorded.", cause}},
		{"odds", logistic, "No: ", []string{"odds of a reject 10 % lower, all kinds together (95 % interval 20 % lower to 10 % higher)"}},
	} {
		told := c.a.Tell(words.Locale{}, PlainKind)
		plain := strings.NewReplacer("\u00a0", " ")
		all := plain.Replace(strings.Join(told.Sentences, "\n"))
		told.Headline = plain.Replace(told.Headline)
		if !strings.HasPrefix(told.Headline, c.headline) {
			t.Errorf("%s: %s", c.name, told.Headline)
		}
		for _, want := range c.says {
			if !strings.Contains(all, want) {
				t.Errorf("%s: does not say %q:\n%s", c.name, want, all)
			}
		}
		if first := told.Sentences[0]; c.a.Threshold != nil && !strings.Contains(first, "threshold") {
			t.Errorf("%s: the first sentence does not say from which humidity on: %s", c.name, first)
		}
		if strings.Contains(all, "{") || strings.Contains(all, "study.") {
			t.Errorf("%s: %s", c.name, all)
		}
	}
}

// shop fills a table with 60 days, in which one more g/m³ goes with effect more on the logarithm.
func shop(effect float64) *Table {
	random := rand.New(rand.NewPCG(8, 8))
	table := NewTable(Filter{})
	for day := range 60 {
		vapour := 10 + 2.5*random.NormFloat64()
		for cell := range 20 {
			c := prints(day*24*60+cell*15, fmt.Sprint(day, "-", cell/10), 200, 22+random.NormFloat64())
			c.Conditions[quality.VapourDensity] = max(2, vapour+0.3*random.NormFloat64())
			table.Add(c)
			mean, n := c.Pieces*0.02*math.Exp(effect*(vapour-10)), 0
			for product, limit := random.Float64(), math.Exp(-mean); product > limit; product *= random.Float64() {
				n++
			}
			table.Add(rejects(day*24*60+cell*15, c.Batch, "pinholes", float64(n)))
		}
	}
	return table
}

func TestAStudyOfATable(t *testing.T) {
	for _, c := range []struct {
		effect  float64
		verdict quality.Verdict
	}{{0.12, quality.MoreDefects}, {0, quality.NothingFound}} {
		a, err := Make(t.Context(), shop(c.effect), quality.Options{Relevant: quality.UsualRelevant}, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		e := a.of(quality.VapourDensity, "pinholes")
		if a.Verdict != c.verdict || e.Reason != "" || *e.Low > math.Exp(c.effect) || *e.High < math.Exp(c.effect) {
			t.Errorf("an effect of %v: %s, %+v", c.effect, a.Verdict, e)
		}
		if a.Days != 60 || a.Prints != 240000 || len(a.Curves) != len(a.Effects) || len(a.Curves[0].Bins) < 4 || (a.Threshold != nil) != (c.effect > 0) {
			t.Errorf("%d days, %v prints, %d curves", a.Days, a.Prints, len(a.Curves))
		}
		if e := a.of(quality.SpentLife, All); e.Reason != quality.NoPrints || e.Ratio != nil {
			t.Errorf("spent life is not known: %+v", e)
		}
	}
}

// TestChangesWithoutAnEnd: an interval that few records leave open is told without figures, and
// one without a limit says so.
func TestChangesWithoutAnEnd(t *testing.T) {
	at := func(v float64) *float64 { return &v }
	e := Effect{Kind: All, Factor: quality.RelativeHumidity.String(), Ratio: at(3.46), Low: at(1e-9)}
	w := teller{words.Locale{}, PlainKind, Answer{}}
	got := strings.ReplaceAll(w.effect(e), "\u00a0", " ")
	want := "For each 5 % more relative humidity: 246 % more rejects, all kinds together (95 % interval more than 95 % fewer to no limit)"
	if got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
	e.High = at(66010)
	if got := w.effect(e); !strings.Contains(got, "to more than 20 times as many") {
		t.Error(got)
	}
	w.a.Model = "logistic"
	if got := w.effect(e); !strings.Contains(got, "to more than 20 times as high") {
		t.Error(got)
	}
}
