// Package learn fits an ink's parameters to how a shop's batches ended.
//
// The model is that of package cure: r = (1/L_ref)[(1-s) k(T) + s phi e/e_ref], D = ∫ r dt, ln(end dose) ~ N(0, sigma²). What each
// batch tells, with D and r functions of the parameters:
//
//	seen to end at t        ln f = ln φ(ln D/σ) - ln σ - ln D + ln r(t)      per hour; r(t) holds the parameters and stays in
//	ended between a and b   ln [Φ(ln D(b)/σ) - Φ(ln D(a)/σ)]
//	good at t               ln S = ln [1 - Φ(ln D/σ)]
//
// In air that does not change this is the lognormal accelerated-failure-time regression of survival analysis. It is penalised by what
// was known before the first batch (cure.Ink with its spreads), part of which the inks of a shop share. The answer is the most likely
// set of parameters with standard errors from the curvature there (Hessian).
//
// What it does not know: batches that are used up when they get thick do not leave by chance, which makes the life come out long, and a
// visible end comes later than the loss of adhesion that a data sheet means (ISO 9514). So a life longer than the data sheet's is shown
// but not accepted without an adhesion or rub test.
//
// The package is pure: no clock, no I/O. Equal input gives equal output to the bit on the same machine.
package learn

import "potlifed/model/cure"

// Kind says what is known about the end of a batch.
type Kind string

// The kinds of record.
const (
	Ended   Kind = "ended"   // at To
	Between Kind = "between" // after From and not after To; an empty From is the first hardener
	Alive   Kind = "alive"   // still good at To
)

// Record is what one batch tells.
type Record struct {
	ID string
	// Mix is shared by the parts of a mix that was split, moved or topped up; empty stands alone. See OneAMix.
	Mix  string
	Kind Kind
	// From and To are what the batch had lived through at those instants.
	From, To Lived
	// Weighing is the relative standard uncertainty of its mixing ratio, added to sigma in quadrature; 0 when it is not known.
	Weighing float64
}

// Pair is an ink with its hardener, and the records of its batches.
type Pair struct {
	Ink, Hardener string
	// Assumed says that nobody gave the data sheet: Sheet is the trade's usual range then.
	Assumed bool
	// Sheet is the ink as its data sheet has it, with the spreads of the first day; never an ink that has already learned, or its
	// batches would count twice.
	Sheet   cure.Ink
	Records []Record
}

// LeftOut is a batch that was not used, and why.
type LeftOut struct {
	ID  string `json:"id"`
	Why string `json:"why"`
	// Impossible says that what is told about the batch cannot be, by all that was known before: most often a forgotten cup.
	Impossible bool `json:"impossible,omitempty"`
}

// Estimate is one parameter.
type Estimate struct {
	Value float64 `json:"value"`
	// SE is the standard error in the value's own unit; nil where the records do not determine it.
	SE *float64 `json:"se"`
	// Interval holds the parameter with 90 %; nil like SE.
	Interval *[2]float64 `json:"interval_90"`
	// Learned says that the batches tell at least as much about it as was known before; else it is still assumed.
	Learned bool `json:"learned"`
}

// Result is what a pair's batches say.
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
	// LifeRatio is the life at the data sheet's temperature and 50 % over what the data sheet says.
	LifeRatio Estimate `json:"life_ratio"`

	// LogLikelihood is of the records alone, without the penalty, times in hours.
	LogLikelihood float64   `json:"log_likelihood"`
	Ends          int       `json:"ends"`     // Ended and Between
	Censored      int       `json:"censored"` // Alive
	LeftOut       []LeftOut `json:"left_out"`

	// Posterior is the ink as it is known now, for batches mixed from now on; see Accept. The zero Ink after PriorNone.
	Posterior cure.Ink `json:"posterior,omitzero"`
	// LongerThanSheet says that the learned life is longer than the data sheet's somewhere in its range of humidity.
	LongerThanSheet bool `json:"longer_than_sheet"`
	// PriorNone says that nothing but the records was used.
	PriorNone bool `json:"prior_none,omitempty"`
	// Undetermined says why no value has a standard error; empty where some have one.
	Undetermined string `json:"undetermined,omitempty"`
	// Fault says why there are no values; empty when there are.
	Fault string `json:"fault,omitempty"`

	covariance [parameters][parameters]float64
}

// CensoredShare is the share of used records that did not see the end, 0..1; 0 without records.
func (r Result) CensoredShare() float64 {
	if r.Ends+r.Censored == 0 {
		return 0
	}
	return float64(r.Censored) / float64(r.Ends+r.Censored)
}

// Impossible is the number of records left out as impossible.
func (r Result) Impossible() int {
	n := 0
	for _, left := range r.LeftOut {
		if left.Impossible {
			n++
		}
	}
	return n
}
