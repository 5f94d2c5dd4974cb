package guide

import (
	"slices"

	"potlifed/model/mix"
)

// Drawn is what came from one can.
type Drawn struct {
	Part mix.Part
	Can  string // empty when nobody said
	G    float64
}

// Drawn lists what was poured by part and can, the parts in the order ink, hardener,
// thinner, and the cans of a part in the order of their first pour. Its masses add up
// to [Mix.Poured].
func (m Mix) Drawn() []Drawn {
	var out []Drawn
	for _, part := range []mix.Part{mix.Ink, mix.Hardener, mix.Thinner} {
		first := len(out)
		for _, p := range m.Pours {
			if p.Part != part {
				continue
			}
			i := slices.IndexFunc(out[first:], func(d Drawn) bool { return d.Can == p.Can })
			if i < 0 {
				out = append(out, Drawn{Part: part, Can: p.Can, G: p.G})
				continue
			}
			out[first+i].G += p.G
		}
	}
	return out
}

// FromCans says of a mix that was recorded by hand which cans it came from: each of its
// parts as several pours. The masses of a part have to add up to what is recorded of
// it; a part that the list does not name stays as it is.
func (m Mix) FromCans(list []Drawn) Mix {
	var pours []Pour
	for _, p := range m.Pours {
		named := false
		for _, d := range list {
			if d.Part == p.Part {
				one := p
				one.G, one.Can = d.G, d.Can
				pours = append(pours, one)
				named = true
			}
		}
		if !named {
			pours = append(pours, p)
		}
	}
	m.Pours, m.Stirred = pours, len(pours)
	return m
}

// Named says which can the last pour came from.
func (m Mix) Named(can string) Mix {
	if n := len(m.Pours); n > 0 {
		m.Pours = slices.Clone(m.Pours)
		m.Pours[n-1].Can = can
	}
	return m
}
