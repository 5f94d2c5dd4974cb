package learn

import (
	"fmt"

	"potlifed/model/cure"
)

// OneAMix keeps one record of each mix: the parts of one mix have the same end, which would
// count several times. It keeps the first record that saw the end, and otherwise the record with
// the largest dose. It returns the other records as left out. ink is used to calculate the
// doses.
func OneAMix(records []Record, ink cure.Ink) (kept []Record, left []LeftOut) {
	place := map[string]int{} // of a mix among kept
	for _, r := range records {
		if r.Mix == "" {
			kept = append(kept, r)
			continue
		}
		at, there := place[r.Mix]
		if !there {
			place[r.Mix] = len(kept)
			kept = append(kept, r)
			continue
		}
		loser := r
		if tellsMore(&r, &kept[at], ink) {
			loser, kept[at] = kept[at], r
		}
		left = append(left, LeftOut{ID: loser.ID, Why: fmt.Sprintf("of the same mix as %s; one record a mix counts", kept[at].ID)})
	}
	return kept, left
}

// tellsMore reports whether a says more than b, where both are records of one mix.
func tellsMore(a, b *Record, ink cure.Ink) bool {
	if aEnded, bEnded := a.Kind != Alive, b.Kind != Alive; aEnded != bEnded {
		return aEnded
	} else if aEnded {
		return a.To.Dose(ink) < b.To.Dose(ink)
	}
	return a.To.Dose(ink) > b.To.Dose(ink)
}
