// Package defect lists the kinds of print defects that pad printers tell apart (common
// practice, no source).
package defect

import "slices"

// trade holds the kinds that every shop has, in the order in which they are shown.
var trade = []string{
	"pinholes", "incomplete-transfer", "stringing", "smearing", "poor-adhesion", "ghost", "colour-off", "dust",
}

// Trade returns the ids of the kinds that every shop has, in the order in which they are shown.
func Trade() []string { return slices.Clone(trade) }
