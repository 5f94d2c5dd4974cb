package bench

import (
	"slices"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/cure"
	"potlifed/model/mix"
)

// addNewLife adds to a recipe how long its mix would live if hardener met its ink now, and the
// same for the next smaller kind of cup. The mix is taken to stand where it spends its life: on
// the press that it is for, in its own kind of cup, else open beside the scale.
func (b *Bench) addNewLife(out *view.Recipe, c request.StartMix, scaleZone string, ink config.Ink, cup config.Cup, w mix.Weighing) {
	zone, onPress := scaleZone, false
	if p, err := b.offered.Load().pressNamed(c.Press); err == nil {
		zone, onPress = p.Zone, true
	}
	in := func(k config.Cup, parts mix.Amounts) (*view.NewLife, string) {
		place := benchPlace
		if onPress {
			place = cure.Place{Exposure: k.Exposure, Lag: k.Lag}
		}
		return b.newLife(ink.ID, zone, place, w.RatioUncertainty(parts), parts.TotalG())
	}
	parts := mix.Amounts{InkG: out.TargetsG.Ink, HardenerG: out.TargetsG.Hardener, ThinnerG: out.TargetsG.Thinner}
	out.Life, out.LifeUnknown = in(cup, parts)
	if k, ok := b.offered.Load().smallerCup(cup); ok {
		parts := mix.Targets(k.InkMinimumG, ink.Ratio, out.ThinnerPct)
		smaller := &view.SmallerCup{Cup: k.ID, InkG: parts.InkG, TotalG: parts.TotalG()}
		smaller.Life, _ = in(k, parts)
		out.SmallerCup = smaller
	}
}

// newLife returns the pot life of a batch that begins now, or why it is not known.
func (b *Bench) newLife(ink, zone string, place cure.Place, weighingU, grams float64) (*view.NewLife, string) {
	snap := b.Snapshot()
	i := slices.IndexFunc(snap.Air, func(a view.Air) bool { return a.Zone == zone })
	j := slices.IndexFunc(snap.Inks, func(k view.Ink) bool { return k.ID == ink })
	outlook, known := snap.Outlooks[zone]
	if i < 0 || j < 0 || !known {
		return nil, b.offered.Load().locale.Say("fault.air-no-sensor")
	}
	row := snap.Air[i]
	if row.Measured == nil || row.Quality == view.QualityBad {
		return nil, row.Why
	}
	// The mix begins in the air of the newest reading.
	outlook.Closed.Air, outlook.Closed.ReadAt, outlook.Closed.Until = *row.Measured, row.Time, snap.At
	ends := outlook.Ends(cure.New(snap.Inks[j].Life.OfMass(grams), row.Accuracy, weighingU, *row.Measured), place)
	at := func(d time.Duration) time.Time { return snap.At.Add(d) }
	return &view.NewLife{
		Zone: zone, From: snap.At, Quality: row.Quality, Why: row.Why,
		EndsAt: view.Ends{Expected: at(ends.Expected), Low: at(ends.Low), High: at(ends.High)},
		LastsS: view.Span[float64]{Expected: ends.Expected.Seconds(), Low: ends.Low.Seconds(), High: ends.High.Seconds()},
	}, ""
}
