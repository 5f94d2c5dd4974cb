package guide

import (
	"slices"

	"potlifed/model/mix"
)

// Drawn is the mass that came from one can.
type Drawn struct {
	Part mix.Part
	Can  string // empty when nobody named a can
	G    float64
}

// Drawn returns the masses by part and can. The parts are in the order ink, hardener, thinner,
// and the cans of a part in the order of their first pour. The masses add up to [Mix.Poured].
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

// FromCans returns a mix that was recorded by hand with the cans that it came from: each of its
// parts becomes several pours. It returns an error when the masses of a part do not add up to
// what was recorded of it. A part that the list does not name stays unchanged.
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

// Named returns the mix with the can of a pour set. The pours are counted from 0; one that there
// is not changes nothing.
func (m Mix) Named(pour int, can string) Mix {
	if pour >= 0 && pour < len(m.Pours) {
		m.Pours = slices.Clone(m.Pours)
		m.Pours[pour].Can = can
	}
	return m
}
