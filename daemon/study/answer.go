package study

import (
	"context"
	"math"
	"time"

	"potlifed/model/quality"
)

// All is the name of all kinds of defect together.
const All = "all"

// Answer is the result of a study. What is not known is absent.
type Answer struct {
	Verdict    quality.Verdict `json:"verdict" enum:"more-defects,fewer-defects,nothing-found,not-enough-data" doc:"whether humid air goes with more defects: more-defects (yes), fewer-defects (it goes with fewer), nothing-found (an effect that matters is excluded) or not-enough-data"`
	Headline   string          `json:"headline" doc:"the answer in a sentence"`
	Sentences  []string        `json:"sentences" doc:"from which humidity on, how sure that is, and what to be careful with, in sentences"`
	Kinds      []string        `json:"kinds" doc:"kinds of defect whose rate goes with the humidity; all is all kinds together"`
	WeeksMore  *float64        `json:"weeks_more,omitempty" doc:"about how many more weeks of the same it takes to find an effect that matters, with a chance of 80 %; only for not-enough-data"`
	From       *time.Time      `json:"from,omitempty" doc:"begin of the first quarter of an hour with counts"`
	To         *time.Time      `json:"to,omitempty" doc:"end of the last quarter of an hour with counts"`
	ComputedAt *time.Time      `json:"computed_at,omitempty" doc:"when the answer was computed; the same question within five minutes gets the same answer"`
	SpanS      float64         `json:"span_s" doc:"length in s of the spans over which the prints of a batch on a press, and their conditions, are taken together: 900, or longer where there are many"`
	Relevant   float64         `json:"relevant_pct" doc:"increase between the driest and the most humid tenth of the prints that is taken to matter, in %"`
	Model      string          `json:"model" enum:"poisson,logistic" doc:"poisson: effects are ratios of rates; logistic: of odds"`

	Prints       float64            `json:"prints" doc:"number of prints"`
	Defects      float64            `json:"defects" doc:"number of rejects among them"`
	Unexposed    float64            `json:"defects_without_prints" doc:"rejects at times at which no prints were counted; they are left out"`
	WithoutAir   float64            `json:"prints_without_air" doc:"prints whose air is not known; they are left out where the air is studied"`
	Days         int                `json:"days" doc:"days with prints"`
	Batches      int                `json:"batches" doc:"batches with prints"`
	Clustering   quality.Clustering `json:"clusters_are" enum:"day,batch,none" doc:"which prints are taken to depend on one another: those of a day (a batch belongs to the day on which it was first printed), those of a batch when there are few days, or none"`
	DesignEffect *float64           `json:"design_effect,omitempty" doc:"by what the variance of the rates is larger than that of independent prints"`
	Curved       bool               `json:"curved" doc:"the rate does not rise or fall evenly with the humidity: the bins say more than the effect"`

	Threshold *Threshold `json:"threshold,omitempty" doc:"from which humidity on there are more defects; only for more-defects"`
	Totals    []Total    `json:"totals" doc:"how often each kind was counted"`
	Effects   []Effect   `json:"effects" doc:"how the rates go with each condition"`
	Curves    []Curve    `json:"curves" doc:"the rates over each condition, in the order of the effects"`
}

// Total is how often a kind of defect was counted.
type Total struct {
	Kind    string  `json:"kind" doc:"id of the kind of defect; all is all kinds together"`
	Defects float64 `json:"defects" doc:"number of rejects"`
	Rate    float64 `json:"rate" doc:"rejects for each print"`
	Low     float64 `json:"rate_low" doc:"lower end of the 95 % interval"`
	High    float64 `json:"rate_high" doc:"upper end of the 95 % interval"`
}

// Effect is how the rate of a kind goes with a condition.
type Effect struct {
	Kind      string         `json:"kind" doc:"id of the kind of defect; all is all kinds together"`
	Factor    string         `json:"factor" enum:"vapour_density_g_m3,humidity_pct,temperature_c,spent,thinner_pct,ratio_error_pct" doc:"the condition: water vapour in g/m³, relative humidity in %, temperature in °C, share of the pot life that was used up, thinner in %, or deviation of the ratio from its target in % without its sign"`
	Step      float64        `json:"step" doc:"the change of the condition for which the ratio is given, in its unit"`
	Ratio     *float64       `json:"ratio,omitempty" doc:"rate after one step divided by that before; absent when there is no estimate"`
	Low       *float64       `json:"ratio_low,omitempty" doc:"lower end of the 95 % interval"`
	High      *float64       `json:"ratio_high,omitempty" doc:"upper end of the 95 % interval"`
	P         *float64       `json:"p,omitempty" doc:"probability of such a ratio, or one farther from 1, if there is no effect"`
	Q         *float64       `json:"q,omitempty" doc:"p corrected for looking at several effects (Benjamini-Hochberg)"`
	Found     bool           `json:"found" doc:"q is below 0.05"`
	Swing     *float64       `json:"swing,omitempty" doc:"ratio between the highest and the lowest tenth of the prints by the condition"`
	SwingLow  *float64       `json:"swing_low,omitempty" doc:"lower end of the 95 % interval"`
	SwingHigh *float64       `json:"swing_high,omitempty" doc:"upper end of the 95 % interval"`
	Excluded  bool           `json:"excluded" doc:"a swing that matters is excluded"`
	WeeksMore *float64       `json:"weeks_more,omitempty" doc:"about how many more weeks it takes to find an effect that matters; 0 when it would have been found"`
	Reason    quality.Reason `json:"reason,omitempty" enum:"no-prints,no-defects,few-defects,no-change,one-sided,undecided,not-fitted,few-prints" doc:"why there is no estimate"`

	Prints       float64        `json:"prints" doc:"prints with known conditions"`
	Defects      float64        `json:"defects" doc:"rejects among them"`
	Clusters     int            `json:"clusters" doc:"number of clusters"`
	Method       quality.Method `json:"method,omitempty" enum:"cluster-bias-reduced,quasi-likelihood" doc:"how the interval was computed"`
	Dispersion   *float64       `json:"dispersion,omitempty" doc:"Pearson dispersion; 1 when prints scatter by chance alone"`
	DesignEffect *float64       `json:"design_effect,omitempty" doc:"by what the variance of the effect is larger than that of independent prints"`
	AdjustedFor  []string       `json:"adjusted_for" doc:"conditions that are held constant"`
	Together     []string       `json:"together_with" doc:"conditions that rose and fell with this one, so that the effect may as well be theirs"`
	Words        string         `json:"words" doc:"what was seen and how sure that is, in a sentence"`
	Firm         bool           `json:"firm" doc:"the effect is told as one: it was found, its interval excludes 1, and days or batches were compared"`
	Sure         string         `json:"sure" doc:"how sure it is that there is such an effect, in a word or two"`
	Figures      string         `json:"figures" doc:"the change for one step in percent with its 95 % interval and q; empty when there is no estimate"`
}

// Curve is the rate of a kind over a condition.
type Curve struct {
	Kind   string  `json:"kind" doc:"id of the kind of defect; all is all kinds together"`
	Factor string  `json:"factor" doc:"the condition"`
	Title  string  `json:"title" doc:"the condition in words, with its unit"`
	Bins   []Bin   `json:"bins" doc:"prints by the condition, lowest first"`
	Line   []Point `json:"line" doc:"the fitted rate; empty when there is no estimate"`
}

// Bin holds the prints in a range of a condition.
type Bin struct {
	Low      float64 `json:"low" doc:"begin of the range"`
	High     float64 `json:"high" doc:"end of the range, which is not included"`
	Mean     float64 `json:"mean" doc:"mean of the condition over the prints"`
	Prints   float64 `json:"prints" doc:"number of prints"`
	Defects  float64 `json:"defects" doc:"number of rejects"`
	Rate     float64 `json:"rate" doc:"rejects for each print"`
	RateLow  float64 `json:"rate_low" doc:"lower end of the 95 % interval"`
	RateHigh float64 `json:"rate_high" doc:"upper end of the 95 % interval"`
	Clusters int     `json:"clusters" doc:"number of clusters"`
}

// Point is a point of a fitted line.
type Point struct {
	X    float64 `json:"x" doc:"the condition"`
	Rate float64 `json:"rate" doc:"rejects for each print"`
	Low  float64 `json:"rate_low" doc:"lower end of the 95 % interval"`
	High float64 `json:"rate_high" doc:"upper end of the 95 % interval"`
}

// Threshold says from which vapour density on there are more defects.
type Threshold struct {
	Kind         string   `json:"kind" doc:"id of the kind of defect; all is all kinds together"`
	Told         bool     `json:"told" doc:"below the threshold the rate is level, above it rises, and a rise over the whole range is excluded"`
	At           *float64 `json:"at_g_m3,omitempty" doc:"the threshold in g/m³; only when it is told"`
	Low          *float64 `json:"low_g_m3,omitempty" doc:"lower end of its 95 % interval"`
	High         *float64 `json:"high_g_m3,omitempty" doc:"upper end of its 95 % interval; absent when the records do not tell it"`
	Dry          float64  `json:"dry_g_m3" doc:"vapour density below which the driest tenth of the prints was made"`
	RelevantAt   *float64 `json:"relevant_at_g_m3,omitempty" doc:"from where on the rate is higher than there by relevant_pct, by an even rise; absent beyond the range of the prints"`
	RelevantLow  *float64 `json:"relevant_low_g_m3,omitempty" doc:"lower end of its 95 % interval"`
	RelevantHigh *float64 `json:"relevant_high_g_m3,omitempty" doc:"upper end of its 95 % interval; absent when it has none"`
	CoolC        *float64 `json:"cool_c,omitempty" doc:"temperature in °C below which the coolest tenth of the prints was made; absent when none is known"`
	WarmC        *float64 `json:"warm_c,omitempty" doc:"temperature in °C above which the warmest tenth of the prints was made; absent when none is known"`
}

// Make studies a table. Days are those of the zone. It returns the error of the context when that
// ends first. The sentences are written by [Answer.Tell].
func Make(ctx context.Context, t *Table, o quality.Options, zone *time.Location) (Answer, error) {
	o.Weeks = t.weeks()
	o.Pause = t.Pause
	d, span := t.data(zone)
	s, err := quality.Analyse(ctx, d, o)
	if err != nil {
		return Answer{}, err
	}
	a := Answer{
		Verdict: s.Verdict, Kinds: []string{}, Relevant: figure(100 * o.Relevant), Model: "poisson", WeeksMore: known(s.WeeksMore),
		Prints: s.Prints, Defects: s.Defects, Unexposed: s.Unexposed, Days: s.Days, Batches: s.Batches,
		Clustering: s.Clustering, DesignEffect: known(s.DesignEffect), Curved: s.Curved,
		SpanS: span.Seconds(), Totals: []Total{}, Effects: []Effect{}, Curves: []Curve{}, Sentences: []string{},
	}
	if o.Family == quality.Binomial {
		a.Model = "logistic"
	}
	if from, to, ok := t.span(); ok {
		a.From, a.To = &from, &to
	}
	for _, k := range s.Kinds {
		a.Kinds = append(a.Kinds, kindName(k))
	}
	for i := range d.Cells {
		if math.IsNaN(d.Cells[i].Conditions[quality.VapourDensity]) {
			a.WithoutAir += d.Cells[i].Prints.Prints
		}
	}
	for _, total := range s.Totals {
		a.Totals = append(a.Totals, Total{kindName(total.Kind), total.Defects, figure(total.Rate), figure(total.Interval.Low), figure(total.Interval.High)})
	}
	for i, e := range s.Effects {
		a.Effects = append(a.Effects, effectOf(e))
		a.Curves = append(a.Curves, curveOf(s.Curves[i]))
	}
	if s.Verdict == quality.MoreDefects {
		a.Threshold = thresholdOf(s.Threshold)
	}
	return a, nil
}

func kindName(kind string) string {
	if kind == "" {
		return All
	}
	return kind
}

// known returns a figure, nil for one that is not finite.
func known(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	x = figure(x)
	return &x
}

// figure returns a figure with six significant digits: more than the records can tell.
func figure(x float64) float64 {
	if x == 0 || math.IsInf(x, 0) || math.IsNaN(x) {
		return x
	}
	scale := math.Pow(10, 5-math.Floor(math.Log10(math.Abs(x))))
	return math.Round(x*scale) / scale
}

func effectOf(e quality.Effect) Effect {
	out := Effect{
		Kind: kindName(e.Kind), Factor: e.Factor.String(), Step: e.Factor.Step(), Found: e.Found, Excluded: e.Excluded,
		WeeksMore: known(e.WeeksMore), Reason: e.Reason, Prints: e.Prints, Defects: e.Defects, AdjustedFor: []string{}, Together: []string{},
	}
	for _, f := range e.Together {
		out.Together = append(out.Together, f.String())
	}
	for _, f := range e.AdjustedFor {
		out.AdjustedFor = append(out.AdjustedFor, f.String())
	}
	if e.Reason != "" {
		return out
	}
	out.Ratio, out.Low, out.High = known(e.Ratio), known(e.Interval.Low), known(e.Interval.High)
	out.P, out.Q = known(e.P), known(e.Q)
	out.Swing, out.SwingLow, out.SwingHigh = known(e.Swing), known(e.SwingInterval.Low), known(e.SwingInterval.High)
	out.Clusters, out.Method = e.Clusters, e.Method
	out.Dispersion, out.DesignEffect = known(e.Dispersion), known(e.DesignEffect)
	return out
}

func curveOf(c quality.Curve) Curve {
	out := Curve{Kind: kindName(c.Kind), Factor: c.Factor.String(), Bins: []Bin{}, Line: []Point{}}
	for _, b := range c.Bins {
		out.Bins = append(out.Bins, Bin{
			Low: figure(b.Low), High: figure(b.High), Mean: figure(b.Mean), Prints: b.Prints, Defects: b.Defects, Rate: figure(b.Rate),
			RateLow: figure(b.Interval.Low), RateHigh: figure(b.Interval.High), Clusters: b.Clusters,
		})
	}
	for _, p := range c.Line {
		out.Line = append(out.Line, Point{figure(p.X), figure(p.Rate), figure(p.Interval.Low), figure(p.Interval.High)})
	}
	return out
}

func thresholdOf(t quality.Threshold) *Threshold {
	out := &Threshold{
		Kind: kindName(t.Kind), Told: t.Told, Dry: figure(t.Dry), RelevantAt: known(t.RelevantAt),
		RelevantLow: known(t.RelevantInterval.Low), RelevantHigh: known(t.RelevantInterval.High),
		CoolC: known(t.CoolC), WarmC: known(t.WarmC),
	}
	if t.Told {
		out.At, out.Low, out.High = known(t.At), known(t.Interval.Low), known(t.Interval.High)
	}
	return out
}
