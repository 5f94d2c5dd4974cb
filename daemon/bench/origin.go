package bench

import (
	"cmp"
	"slices"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/can"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// origin is where a pour came from, as a person says.
type origin struct {
	part     mix.Part
	can      string   // empty when nobody named one
	from     *can.Can // that can, where it is registered
	material string   // what the mix's ink does not go with; empty for anything else
}

// origin checks what a request says of a pour that counts as a part now.
func (k stock) origin(batch *record.Batch, c request.CorrectPour, counts mix.Part) (origin, error) {
	o := origin{part: cmp.Or(mix.Part(c.Part), counts), can: c.Can, from: k.cans[c.Can]}
	material := c.Material
	switch {
	case o.from != nil:
		if c.Part != "" && o.from.Part != o.part || material != "" && material != o.from.Material {
			return o, request.Refuse(request.Invalid, "wrong can", "can %s holds %s %s", o.from.ID, o.from.Part, o.from.Material).Saying("can-holds", "can", o.from.ID, "material", o.from.Material)
		}
		o.part, material = o.from.Part, o.from.Material
	case c.Can != "" && (material == "" || slices.Contains(k.materials(batch.Ink, o.part), material)):
		if _, _, err := k.source(batch.Ink, o.part, c.Can); err != nil {
			return o, err
		}
	case c.Can != "":
		return o, request.Refuse(request.Invalid, "no such can", "there is no can %q", c.Can).Saying("no-can", "can", c.Can)
	}
	if all := k.allMaterials(o.part); material != "" && o.from == nil && !slices.Contains(all, material) {
		return o, request.Refuse(request.Invalid, "no such material", "there is no %s %q; there are %s", o.part, material, known(all)).Saying("no-material", "material", material)
	}
	if own := k.materials(batch.Ink, o.part); material != "" && len(own) > 0 && !slices.Contains(own, material) {
		o.material = material
	}
	return o, nil
}

// drawnFrom gives a pour the can that it came from, with what is recorded of that: the can that was named, or the
// one in use of the recipe's material. It is in the cup already, so that nothing is refused. pour is its place
// among the pours.
func (k stock) drawnFrom(batch *record.Batch, m guide.Mix, o origin, pour int) (guide.Mix, *record.PouredFrom) {
	if o.part == "" || pour >= len(m.Pours) {
		return m, nil
	}
	from := o.from
	if o.can == "" && o.material == "" {
		from, _, _ = k.source(batch.Ink, o.part, "")
	}
	if from == nil {
		return m, nil
	}
	e := k.poured(batch.ID, from, m.Pours[pour].G)
	e.Assumed = o.can == ""
	return m.Named(pour, from.ID), &e
}
