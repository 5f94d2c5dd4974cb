package rehearsal

import "math"

// Rejects says how the share of rejected prints depends on air and ink.
type Rejects string

// The kinds of dependence.
const (
	// RejectsRise: the shares rise with water vapour and with spent pot life.
	RejectsRise Rejects = "rising"
	// RejectsConstant: they depend on nothing.
	RejectsConstant Rejects = "constant"
)

// rejects are the shares of prints that are rejected, by kind of defect. A print has one defect
// at most.
type rejects []share

// share is the share of prints that are rejected for a kind of defect: at 10 g/m³ of water vapour
// and with fresh ink, by which factor it grows with each g/m³ more, and by which factor it is
// larger at the nominal end of the pot life.
type share struct {
	kind            string
	base            float64
	perGram, atLife float64
}

// rising and constant are figures of the demo's own, which are found nowhere else. The constant
// shares are about the means of the rising ones over the demo's weather.
var (
	rising = rejects{
		{"pinholes", 0.006, 1.12, 1.5},
		{"incomplete-transfer", 0.004, 1, 3},
		{"poor-adhesion", 0.0015, 1.08, 2},
		{"dust", 0.003, 1, 1},
		{"stringing", 0.002, 1, 1},
		{"smearing", 0.0015, 1, 1},
	}
	constant = rejects{
		{"pinholes", 0.014, 1, 1},
		{"incomplete-transfer", 0.007, 1, 1},
		{"poor-adhesion", 0.003, 1, 1},
		{"dust", 0.003, 1, 1},
		{"stringing", 0.002, 1, 1},
		{"smearing", 0.0015, 1, 1},
	}
)

// shares returns the shares of a kind of dependence.
func (r Rejects) shares() rejects {
	if r == RejectsConstant {
		return constant
	}
	return rising
}

// at returns the share at a vapour density in g/m³ and a spent life.
func (s share) at(densityGM3, spent float64) float64 {
	return s.base * math.Pow(s.perGram, densityGM3-10) * math.Pow(s.atLife, spent)
}

// of returns the kind of defect of a print, empty for a good one. chance is random, from 0 to 1.
func (r rejects) of(densityGM3, spent, chance float64) string {
	for _, row := range r {
		p := row.at(densityGM3, spent)
		if chance < p {
			return row.kind
		}
		chance -= p
	}
	return ""
}
