// Package learn fits the parameters of an ink to how the batches of a shop ended.
//
// The model is that of package cure: r = (1/L_ref)[(1-s) k(T) + s phi e/e_ref], D = ∫ r dt,
// ln(end dose) ~ N(0, sigma²). D and r are functions of the parameters. The log-likelihood of a
// batch is:
//
//	seen to end at t        ln f = ln φ(ln D/σ) - ln σ - ln D + ln r(t)      per hour; r(t) holds the parameters and stays in
//	ended between a and b   ln [Φ(ln D(b)/σ) - Φ(ln D(a)/σ)]
//	good at t               ln S = ln [1 - Φ(ln D/σ)]
//
// In air that does not change, this is the lognormal accelerated-failure-time regression of
// survival analysis. It is penalised by what was known before the first batch (cure.Ink with its
// spreads); the inks of a shop share a part of this prior. The result is the most likely set of
// parameters, with standard errors from the curvature there (Hessian).
//
// The fit has two limits. Batches that are used up because they get thick are not censored at
// random, which makes the life come out too long. And a visible end comes later than the loss of
// adhesion that a data sheet means (ISO 9514). A life that is longer than that of the data sheet
// is therefore shown but not accepted without an adhesion or rub test.
//
// The package is pure: no clock, no I/O. Equal input gives equal output to the bit on the same
// machine.
package learn

import "potlifed/model/cure"

// Kind is what is known about the end of a batch.
type Kind string

// The kinds of record.
const (
	Ended   Kind = "ended"   // at To
	Between Kind = "between" // after From and not after To; an empty From is the first hardener
	Alive   Kind = "alive"   // still good at To
)

// Record is what one batch says about the life of its ink.
type Record struct {
	ID string
	// Mix is the same for all parts of a mix that was split, moved or topped up; empty for a
	// batch that is a whole mix. See [OneAMix].
	Mix  string
	Kind Kind
	// From and To are what the batch was exposed to up to those instants.
	From, To Lived
	// Noted: the end was written down at To, and nobody said when the batch was last good. From is
	// then [lookInterval] before To. Such an end counts as one between the two, except in a plain
	// fit, which takes it as exact.
	Noted bool
	// Facts are what may differ between batches of one ink.
	Facts Facts
	// Weighing is the relative standard uncertainty of the mixing ratio; it is added to sigma in
	// quadrature. 0 when it is not known.
	Weighing float64
}

// Pair is an ink with its hardener, and the records of its batches.
type Pair struct {
	Ink, Hardener string
	// Assumed: nobody gave a data sheet. Sheet is then the trade's usual range.
	Assumed bool
	// Sheet is the ink as its data sheet describes it, with the default spreads. It must not be
	// an ink that was already learned, since its batches would count twice.
	Sheet   cure.Ink
	Records []Record
	// Jars are tests of the ink in jars.
	Jars []JarTest
}

// LeftOut is a batch that was not used, and why.
type LeftOut struct {
	ID  string `json:"id" doc:"id of the batch"`
	Why string `json:"why" doc:"why it could not be used"`
	// Impossible: the record took part in the fit, but by the ink that was found it is more likely
	// wrong than right, and so has next to no weight. Most often somebody forgot a cup.
	Impossible bool `json:"impossible,omitempty" doc:"by the fitted ink the record is more likely wrong than right"`
	// Early: it is impossible because it ended too early.
	Early bool `json:"early,omitempty" doc:"it is impossible because it ended too early"`
}

// Estimate is the estimate of one parameter.
type Estimate struct {
	Value float64 `json:"value"`
	// SE is the standard error in the unit of the value; nil where the records do not determine
	// it.
	SE *float64 `json:"se"`
	// Interval holds the parameter with a probability of 90 %, and has Value in it; nil where SE is nil.
	Interval *[2]float64 `json:"interval_90"`
	// Learned: the batches say at least as much about it as was known before. Otherwise it is
	// still assumed.
	Learned bool `json:"learned"`
}

// se returns the standard error, 0 where there is none.
func (e Estimate) se() float64 {
	if e.SE == nil {
		return 0
	}
	return *e.SE
}

// Result is what the batches of a pair say.
type Result struct {
	Ink      string   `json:"ink"`
	Hardener string   `json:"hardener,omitempty"`
	Sheet    cure.Ink `json:"sheet"`
	// Assumed as in Pair.
	Assumed bool `json:"sheet_assumed,omitempty"`

	LRefH              Estimate `json:"l_ref_h"`
	MoistureShare      Estimate `json:"moisture_share"`
	ActivationKJPerMol Estimate `json:"activation_kj_mol"`
	Sigma              Estimate `json:"sigma"`
	// LifeRatio is the life at the data sheet's temperature and 50 %, divided by that of the
	// data sheet.
	LifeRatio Estimate `json:"life_ratio"`

	// LogLikelihood is that of the records alone, without the penalty, with times in hours.
	LogLikelihood float64 `json:"log_likelihood"`
	Ends          int     `json:"ends"`     // the records of kinds Ended and Between
	Censored      int     `json:"censored"` // the records of kind Alive
	// Jars is the number of jars of all tests that counted.
	Jars    int       `json:"jars,omitempty"`
	LeftOut []LeftOut `json:"left_out"`
	// Differences are how groups of batches ended, the most unusual first; empty where nothing
	// is known of any group.
	Differences []Difference `json:"differences,omitempty"`
	// Lots is what the batches say of the lots of ink and hardener, which differ at random; the zero
	// Lots where nothing is known of them. Sigma and Posterior are those of a batch whose lots are new.
	Lots Lots `json:"lots,omitzero"`

	// Posterior is the ink as it is known now, for batches mixed from now on; see
	// [Result.Accept]. It is the zero Ink after PriorNone.
	Posterior cure.Ink `json:"posterior,omitzero"`
	// LongerThanSheet: the learned life is longer than that of the data sheet somewhere in its
	// range of humidity.
	LongerThanSheet bool `json:"longer_than_sheet"`
	// PriorNone: only the records were used.
	PriorNone bool `json:"prior_none,omitempty"`
	// Undetermined says why no value has a standard error; empty where some have one.
	Undetermined string `json:"undetermined,omitempty"`
	// Fault says why there are no values; empty when there are.
	Fault string `json:"fault,omitempty"`

	covariance [parameters][parameters]float64
}

// CensoredShare returns the share of the used records that did not see the end, 0 to 1; 0
// without records.
func (r Result) CensoredShare() float64 {
	if r.Ends+r.Censored == 0 {
		return 0
	}
	return float64(r.Censored) / float64(r.Ends+r.Censored)
}

// Impossible returns the number of records that are more likely wrong than right, and how many of
// them ended too early.
func (r Result) Impossible() (all, early int) {
	for _, left := range r.LeftOut {
		if left.Impossible {
			all++
		}
		if left.Early {
			early++
		}
	}
	return all, early
}

// mostNamed bounds the batches that a sentence names.
const mostNamed = 5

// EarlyIDs returns the ids of the first records that ended too early to be right, at most five.
func (r Result) EarlyIDs() []string {
	var ids []string
	for _, left := range r.LeftOut {
		if left.Early && len(ids) < mostNamed {
			ids = append(ids, left.ID)
		}
	}
	return ids
}
