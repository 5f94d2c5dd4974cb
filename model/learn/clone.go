package learn

import "slices"

// Clone is a copy that goes on by itself, as a part of a mix in another cup does.
func (j *Journey) Clone() *Journey {
	c := *j
	c.points = slices.Clone(j.points)
	return &c
}
