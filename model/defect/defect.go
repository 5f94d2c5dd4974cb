// Package defect lists the kinds of print defects that pad printers tell apart (common
// practice, no source).
package defect

import "slices"

// Kind is a kind of defect.
type Kind struct {
	ID    string // in requests, events and metrics
	Words string // its name for people, in English
}

// trade holds the kinds that every shop has, in the order in which they are shown.
var trade = []Kind{
	{"pinholes", "Pinholes"},
	{"incomplete-transfer", "Incomplete transfer"},
	{"stringing", "Stringing"},
	{"smearing", "Smearing"},
	{"poor-adhesion", "Poor adhesion"},
	{"ghost", "Ghost of the last print"},
	{"colour-off", "Colour off"},
	{"dust", "Dust"},
}

// Trade returns the kinds that every shop has, in the order in which they are shown.
func Trade() []Kind { return slices.Clone(trade) }
