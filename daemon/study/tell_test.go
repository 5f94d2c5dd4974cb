package study

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/words"
	"potlifed/model/quality"
)

func ptr(x float64) *float64 { return &x }

// humid is an answer with one effect of the water vapour.
func humid(ratio, low, high, q float64) Answer {
	e := Effect{Kind: All, Factor: "vapour_density_g_m3", Step: 1, Ratio: &ratio, Low: &low, High: &high, P: &q, Q: &q, Clusters: 60, Method: quality.BiasReduced}
	return Answer{
		Prints: 120000, Relevant: 25, Model: "poisson", Clustering: quality.ByDay, DesignEffect: ptr(2.34),
		Effects: []Effect{e}, Curves: []Curve{{Kind: All, Factor: "vapour_density_g_m3"}},
	}
}

func TestTheAnswerInWords(t *testing.T) {
	yes := humid(1.12, 1.04, 1.21, 0.0004)
	yes.Verdict, yes.Kinds, yes.Effects[0].Found = quality.MoreDefects, []string{All}, true
	yes.Threshold = &Threshold{Kind: All, Told: true, At: ptr(11.2), Low: ptr(10.4), High: ptr(12.1), Dry: 7, CoolC: ptr(20), WarmC: ptr(20.2)}
	rising := yes
	rising.Threshold = &Threshold{Kind: All, Dry: 7, RelevantAt: ptr(9.147), RelevantLow: ptr(8.2), RelevantHigh: nil, CoolC: ptr(20), WarmC: ptr(25)}
	yes.Effects[0].Together = []string{"temperature_c"}
	no := humid(0.99, 0.96, 1.02, 0.61)
	no.Verdict, no.Effects[0].Excluded = quality.NothingFound, true
	few := humid(1.05, 0.85, 1.3, 0.6)
	few.Verdict, few.WeeksMore, few.Effects[0].WeeksMore = quality.NotEnough, ptr(2.2), ptr(4.5)
	few.Clustering, few.Unexposed, few.WithoutAir, few.Curved = quality.ByBatch, 1, 12, true
	long := few
	long.WeeksMore = ptr(53)
	silent := Answer{Prints: 500, Verdict: quality.NotEnough, Relevant: 25, Clustering: quality.NotClustered, Effects: []Effect{{Kind: All, Factor: "vapour_density_g_m3", Reason: quality.NoDefects}}}
	hinted := yes
	hinted.Clustering = quality.NotClustered
	onFewDays := yes // of many days, few have their air on record
	onFewDays.Effects = []Effect{yes.Effects[0]}
	onFewDays.Effects[0].Method = quality.QuasiLikelihood
	excludedHint := no
	excludedHint.Clustering = quality.NotClustered
	doubtful := no
	doubtful.Clustering = quality.ByBatch
	fewer := humid(0.9, 0.85, 0.96, 0.001)
	fewer.Verdict, fewer.Kinds, fewer.Effects[0].Found, fewer.Clustering = quality.FewerDefects, []string{All}, true, quality.ByBatch
	logistic := humid(0.9, 0.8, 1.1, 0.2)
	logistic.Verdict, logistic.Model, logistic.Effects[0].Excluded = quality.NothingFound, "logistic", true
	hardly := silent
	hardly.Effects = []Effect{{Kind: All, Factor: "vapour_density_g_m3", Reason: quality.FewPrints}}
	const cause = "Things that go together need not cause each other."
	for _, c := range []struct {
		name     string
		a        Answer
		headline string
		says     []string
	}{
		{"yes, with a threshold", yes, "Yes: humid air goes with more rejects (all kinds together).", []string{
			"All kinds together: 12 % more rejects for each 1 g/m³ more water vapour, very likely between 4.0 % more and 21 % more.",
			// 11.2 g/m³ at 20.2 °C are 64.1 %: saturation is 17.48 g/m³.
			"All kinds together: up to about 11.2 g/m³ of water vapour (64 % relative humidity at 20.2 °C) no rise of rejects was seen, and above it they rose",
			"try whether drier air lowers them. This limit is very likely between 10.4 and 12.1 g/m³.",
			"This rests on 60 days, compared with each other.", "Water vapour and temperature rose and fell together", cause}},
		// 9.147 g/m³ are 52.9 % at 20 °C, where saturation is 17.29 g/m³, and 39.7 % at 25 °C, where it is 23.04 g/m³.
		{"yes, without a threshold", rising, "Yes: ", []string{
			"No limit was found below which rejects do not rise.", "All kinds together: from about 9.1 g/m³ of water vapour (53 % relative humidity at 20.0 °C, 40 % at 25.0 °C) on, rejects", "below 7.0 g/m³. The humidity from which rejects are 25 % more frequent is very likely not below 8.2 g/m³; how far above is not known.", cause}},
		{"no", no, "No difference that matters was found. If the most humid tenth of the prints had 25 % more rejects than the driest tenth, these records would very likely show it.",
			[]string{"All kinds together: no difference that matters was found, very likely between 4.0 % fewer and 2.0 % more rejects for each 1 g/m³ more water vapour.", cause}},
		{"not enough", few, "Nothing can be said yet: there are not enough records.", []string{
			"Go on recording: about 3 more weeks of records like these are needed.", "All kinds together: not enough records yet, about 5 more weeks are needed.",
			"Rejects do not rise or fall evenly", "this rests on 60 batches, compared with each other.", "Wait until there are records of 8 days before you change anything.", "12 prints whose air is not known are left out.",
			"1 reject at a time without counted prints is left out.", cause}},
		{"not for long", long, "Nothing can be said yet", []string{"More than a year of records like these is needed."}},
		{"nothing recorded", silent, "Nothing can be said yet: no reject was recorded.", []string{"How many more weeks are needed cannot be said yet.", cause}},
		{"few prints", hardly, "Nothing can be said yet: prints were recorded at too few times. Record the prints of each batch, or connect a counter.", nil},
		{"yes, of few batches", hinted, "A first hint only: rejects were more frequent in humid air (all kinds together).", []string{"perhaps between 4.0", "Take the figures as a hint only, until there are records of 8 days."}},
		{"yes, of few days with air", onFewDays, "A first hint only:", []string{"perhaps between 4.0"}},
		{"no, of few batches", excludedHint, "Nothing can be said yet", []string{"All kinds together: nothing can be said yet."}},
		{"no, of batches", doubtful, "Probably no difference that matters: 25 % more rejects", []string{"probably between 4.0"}},
		{"fewer, of batches", fewer, "Probably not: humid air went with fewer rejects", []string{"10 % fewer rejects", "probably between 15"}},
		{"odds", logistic, "No difference that matters was found.", []string{"between 20 % lower and 10 % higher odds of a reject for each 1 g/m³"}},
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
		if together, figure := strings.Index(all, "rose and fell together"), strings.Index(all, "for each 1 g/m³"); together > figure {
			t.Errorf("%s: the figure stands before what limits it:\n%s", c.name, all)
		}
		if first := told.Sentences[0]; c.a.Threshold != nil && strings.HasPrefix(c.headline, "Yes") && !strings.Contains(first, " about ") {
			t.Errorf("%s: the first sentence does not say from which humidity on: %s", c.name, first)
		}
		// An engineer is no statistician: such words are in the tables, if anywhere.
		for _, unwanted := range []string{"{", "study.", "interval", "p is", "variance", "Benjamini", "independent", "converge", "regression"} {
			if strings.Contains(all+told.Headline, unwanted) {
				t.Errorf("%s: says %q: %s", c.name, unwanted, all)
			}
		}
	}
}

// Where all kinds were asked about, what is known of one kind comes after them and begins with its name.
func TestTheLimitOfOneKindComesAfterAllKinds(t *testing.T) {
	a := humid(1.05, 0.95, 1.16, 0.3)
	one := humid(1.2, 1.1, 1.3, 0.001).Effects[0]
	one.Kind, one.Found = "pinholes", true
	a.Verdict, a.Kinds, a.Effects = quality.MoreDefects, []string{"pinholes"}, append(a.Effects, one)
	a.Threshold = &Threshold{Kind: "pinholes", Dry: 7, RelevantAt: ptr(9.2), RelevantLow: ptr(8.9), RelevantHigh: ptr(9.8)}
	said := a.Tell(words.Locale{}, PlainKind).Sentences
	if !strings.HasPrefix(said[0], "All kinds together: ") || !strings.HasPrefix(said[1], "“pinholes”: from about 9.2 g/m³") {
		t.Errorf("%q", said)
	}
}

// A condition that rose and fell with another is told with it, beside its figure.
func TestConditionsThatCannotBeToldApart(t *testing.T) {
	a := humid(1.12, 1.04, 1.21, 0.0004)
	a.Effects[0].Together = []string{"temperature_c", "humidity_pct"}
	alone := a.Effects[0]
	alone.Together = nil
	a.Effects = append(a.Effects, alone)
	told := a.Tell(words.Locale{}, PlainKind).Effects
	if want := " In these records water vapour rose and fell with air temperature, relative humidity: these figures cannot be told apart here."; !strings.HasSuffix(told[0].Words, want) {
		t.Error(told[0].Words)
	}
	if strings.Contains(told[1].Words, "told apart") {
		t.Error(told[1].Words)
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

// TestChangesWithoutAnEnd: a range that says nothing is told without its figures, which the table
// has; one without a limit says so.
func TestChangesWithoutAnEnd(t *testing.T) {
	e := Effect{Kind: All, Factor: quality.RelativeHumidity.String(), Ratio: ptr(3.46), Low: ptr(1e-9), Q: ptr(0.42), Method: quality.BiasReduced}
	w := teller{words.Locale{}, PlainKind, Answer{Clustering: quality.ByDay}}
	told := func() (string, string) {
		plain := strings.NewReplacer("\u00a0", " ")
		return plain.Replace(w.effect(e)), plain.Replace(w.figures(e))
	}
	for _, c := range []struct {
		change         func()
		words, figures string
	}{
		{func() {}, "All kinds together: nothing can be said yet.", "+246 % (−100 % to no limit), p 0.420"},
		{func() { e.WeeksMore = ptr(4.2) }, "All kinds together: not enough records yet, about 5 more weeks are needed.", "+246 % (−100 % to no limit), p 0.420"},
		{func() { e.WeeksMore = ptr(60) }, "All kinds together: not enough records yet, more than a year is needed.", "+246 % (−100 % to no limit), p 0.420"},
		{func() { e.WeeksMore = ptr(0) }, "All kinds together: no difference was found, but one that matters is not excluded.", "+246 % (−100 % to no limit), p 0.420"},
		{func() { e.High = ptr(66010) }, "All kinds together: no difference was found, but one that matters is not excluded.", "+246 % (−100 % to no limit), p 0.420"},
		{func() { e.Found, e.Low, e.High = true, ptr(1.5), nil }, "All kinds together: 246 % more rejects for each 5 % more relative humidity, very likely not below 50 % more.", "+246 % (+50 % to no limit), p 0.420"},
		{func() { e.Low, e.High, e.Ratio = nil, ptr(0.8), ptr(0.6) }, "All kinds together: 40 % fewer rejects for each 5 % more relative humidity, very likely not above 20 % fewer.", "−40 % (no limit to −20 %), p 0.420"},
		{func() { w.a.Clustering = quality.ByBatch }, "All kinds together: 40 % fewer rejects for each 5 % more relative humidity, probably not above 20 % fewer.", "−40 % (no limit to −20 %), p 0.420"},
		{func() { w.a.Clustering, w.a.Model = quality.ByDay, "logistic" }, "All kinds together: 40 % lower odds of a reject for each 5 % more relative humidity, very likely not above 20 % lower.", "−40 % (no limit to −20 %), p 0.420"},
		{func() { e = Effect{Kind: "pinholes", Factor: e.Factor, Reason: quality.NoChange} }, "“pinholes”: nothing can be said yet, because the condition hardly changed in these records.", ""},
	} {
		c.change()
		if words, figures := told(); words != c.words || figures != c.figures {
			t.Errorf("%s | %s\nwant %s | %s", words, figures, c.words, c.figures)
		}
	}
}

// TestWordsKeepToTheInterval: whatever the figures are, an interval that includes "no difference" is
// never told as an effect, a difference is only told as excluded when it is, and no sentence is surer than
// what was compared.
func TestWordsKeepToTheInterval(t *testing.T) {
	plain := strings.NewReplacer("\u00a0", " ")
	rapid.Check(t, func(rt *rapid.T) {
		ratio := rapid.Float64Range(0.2, 5).Draw(rt, "ratio")
		a := humid(ratio, ratio*rapid.Float64Range(0.3, 1).Draw(rt, "low"), ratio*rapid.Float64Range(1, 3).Draw(rt, "high"), rapid.Float64Range(0, 1).Draw(rt, "q"))
		a.Verdict = rapid.SampledFrom([]quality.Verdict{quality.MoreDefects, quality.FewerDefects, quality.NothingFound, quality.NotEnough}).Draw(rt, "verdict")
		a.Clustering = rapid.SampledFrom([]quality.Clustering{quality.ByDay, quality.ByBatch, quality.NotClustered}).Draw(rt, "clusters")
		e := &a.Effects[0]
		e.Method = rapid.SampledFrom([]quality.Method{quality.BiasReduced, quality.QuasiLikelihood}).Draw(rt, "method")
		e.Found, e.Excluded = rapid.Bool().Draw(rt, "found"), rapid.Bool().Draw(rt, "excluded")
		swing := rapid.Float64Range(1, 6).Draw(rt, "swing")
		e.SwingLow, e.SwingHigh = ptr(math.Pow(*e.Low, swing)), ptr(math.Pow(*e.High, swing))
		if rapid.Bool().Draw(rt, "no limit") {
			e.High, e.SwingHigh = nil, nil
		}
		if rapid.Bool().Draw(rt, "weeks") {
			a.WeeksMore = ptr(rapid.Float64Range(0, 80).Draw(rt, "weeks more"))
			e.WeeksMore = a.WeeksMore
		}
		if a.Verdict == quality.MoreDefects || a.Verdict == quality.FewerDefects {
			a.Kinds = []string{All}
		}
		told := a.Tell(words.Locale{}, PlainKind)
		said := plain.Replace(told.Effects[0].Words)
		sentences := plain.Replace(strings.Join(told.Sentences, "\n"))
		if told.Effects[0].Firm != (told.Effects[0].Sure == "Yes" || told.Effects[0].Sure == "Probably") {
			rt.Fatalf("firm is %v: %s", told.Effects[0].Firm, told.Effects[0].Sure)
		}
		compared := a.Clustering != quality.NotClustered && e.Method == quality.BiasReduced
		includesNone := *e.Low <= 1 && (e.High == nil || *e.High >= 1)
		if includesNone && (strings.Contains(said, " for each ") && !strings.Contains(said, "no difference that matters was found") || told.Effects[0].Sure == "Yes") {
			rt.Fatalf("%v to %v: %s (%s)", *e.Low, e.High, said, told.Effects[0].Sure)
		}
		if strings.Contains(strings.ToLower(said+told.Headline), "no difference that matters") && (!e.Excluded || !compared) {
			rt.Fatalf("not excluded: %s, %s", told.Headline, said)
		}
		if !compared && (strings.Contains(said+sentences, "very likely") || strings.Contains(said+sentences, "probably") || strings.HasPrefix(told.Headline, "Yes") || strings.HasPrefix(told.Headline, "No ") || strings.HasPrefix(told.Headline, "Probably")) {
			rt.Fatalf("neither days nor batches were compared: %s\n%s", told.Headline, sentences)
		}
		if hasP := strings.Contains(plain.Replace(told.Effects[0].Figures), ", p "); hasP != compared {
			rt.Fatalf("of what was not compared p is told: %s", told.Effects[0].Figures)
		}
		if a.Clustering != quality.ByDay && strings.Contains(said+sentences+told.Headline, "very likely") {
			rt.Fatalf("days were not compared: %s\n%s", told.Headline, sentences)
		}
		if *e.SwingLow < 1/(1+a.Relevant/100) && strings.Contains(sentences, "are not excluded") && e.SwingHigh != nil && *e.SwingHigh < 1+a.Relevant/100 {
			rt.Fatalf("up to %v: %s", *e.SwingHigh, sentences)
		}
	})
}
