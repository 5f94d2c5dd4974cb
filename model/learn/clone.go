package learn

import "slices"

// Clone returns an independent copy, for a part of a mix that goes on in another cup.
func (j *Journey) Clone() *Journey {
	c := *j
	c.points = slices.Clone(j.points)
	return &c
}
