package bench

import (
	"math"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/cure"
)

func (b *Bench) acceptLearned(now time.Time, by actor.Name, c request.AcceptLearned) (any, error) {
	ink, err := b.shop.inkNamed(c.Ink)
	if err != nil {
		return nil, request.Refuse(request.NotFound, "no such ink", "there is no ink %q in the configuration", c.Ink)
	}
	if c.Sheet != ink.Life {
		return nil, request.Refuse(request.NotNow, "another data sheet", "%s was fitted against another data sheet than the configuration has now; fit it again", ink.ID).Saying("fitted-otherwise", "ink", ink.ID)
	}
	if err := c.Life.Valid(); err != nil {
		return nil, request.Refuse(request.Invalid, "learned", "%s: %v", ink.ID, err)
	}
	b.decide(now, by, record.LearnedAccepted{Ink: ink.ID, Sheet: c.Sheet, Life: c.Life, Verdict: c.Verdict, Ends: c.Ends, Alive: c.Alive, Assumed: c.Assumed, Lots: c.Lots})
	return b.shop.inkView(b.state, ink), nil
}

func (b *Bench) revokeLearned(now time.Time, by actor.Name, c request.RevokeLearned) (any, error) {
	ink, err := b.shop.inkNamed(c.Ink)
	if err != nil {
		return nil, request.Refuse(request.NotFound, "no such ink", "there is no ink %q in the configuration", c.Ink)
	}
	if _, ok := b.state.Learned[ink.ID]; !ok {
		return nil, request.Refuse(request.NotNow, "nothing learned", "nothing that was learned of %s is in effect", ink.ID).Saying("nothing-learned", "ink", ink.ID)
	}
	b.decide(now, by, record.LearnedRevoked{Ink: ink.ID})
	return b.shop.inkView(b.state, ink), nil
}

// lifeFor returns the pot life that a new batch of an ink starts with: the learned one if a
// person has accepted it, else that of the data sheet. A life that was learned against
// another data sheet does not count.
func lifeFor(s record.State, ink config.Ink) cure.Ink {
	if l, ok := s.Learned[ink.ID]; ok && l.Sheet == ink.Life {
		return l.Life
	}
	return ink.Life
}

func (c *catalogue) inkViews(s record.State) []view.Ink {
	var views []view.Ink
	for _, k := range c.Inks {
		views = append(views, c.inkView(s, k))
	}
	return views
}

// farFromSheet returns the mean temperature of the last day in °C of the zone that is farthest from the
// temperature of an ink's data sheet, and whether a figure at a nearer temperature is worth asking for.
func farFromSheet(s record.State, sheet cure.Ink) (celsius float64, far bool) {
	for _, zone := range s.Zones {
		mean, known := zone.Hours.MeanTemperatureC(24)
		if !known || !sheet.FarFrom(mean) {
			continue
		}
		if off := math.Abs(mean - sheet.AtTemperatureC); !far || off > math.Abs(celsius-sheet.AtTemperatureC) {
			celsius, far = mean, true
		}
	}
	return celsius, far
}

func (c *catalogue) inkView(s record.State, k config.Ink) view.Ink {
	v := view.Ink{
		ID: k.ID, Hardener: k.Hardener, Thinners: append([]string{}, k.Thinners...), HardenerRatio: k.Ratio.String(), TolerancePct: k.RatioTolerancePct,
		ThinnerMinPct: k.ThinnerPct.Min, ThinnerMaxPct: k.ThinnerPct.Max,
		ThinnerDark: k.ThinnerPct.Dark, ThinnerLight: k.ThinnerPct.Light, RestS: k.Rest.Seconds(), StirS: k.Stir.Seconds(),
		LifeRefH: k.Life.LRefH, MoistureShare: k.Life.MoistureShare, Life: k.Life, Ratio: k.Ratio, Rest: k.Rest,
		Assumed: c.locale.Say("assumes.sheet"),
	}
	if k.Sheet.About != 0 {
		v.Assumed = c.locale.Say("assumes.one-figure", "sheet", v.Assumed)
	}
	if celsius, far := farFromSheet(s, k.Life); far {
		v.Assumed = c.locale.Say("assumes.far-from-sheet", "sheet", v.Assumed, "at", c.locale.ShortTemperature(k.Life.AtTemperatureC),
			"shop", c.locale.ShortTemperature(math.Round(celsius)))
	}
	if cure.StillAir(k.Life, cure.Place{Exposure: 1}, k.Life.KnownIn()).LifeH < cure.FastLife {
		v.Assumed = c.locale.Say("assumes.fast", "sheet", v.Assumed)
	}
	v.JarTest = jarTestView(s, k.ID)
	for _, sheet := range c.SafetySheets(k) {
		v.SafetySheets = append(v.SafetySheets, view.SafetySheet(sheet))
	}
	if l, ok := s.Learned[k.ID]; ok && l.Sheet == k.Life {
		v.Assumed, v.Life = "", l.Life
		if len(l.Assumed) > 0 {
			v.Assumed = c.locale.StillAssumed(l.Assumed)
		}
		v.Learned = &view.Learned{
			Since: l.At, By: l.By, Verdict: l.Verdict,
			LifeRefH: l.Life.LRefH, MoistureShare: l.Life.MoistureShare, Activation: l.Life.ActivationKJPerMol, Sigma: l.Life.Sigma,
		}
	}
	return v.Rounded()
}

// jarTestView returns the running test of an ink, nil for none.
func jarTestView(s record.State, ink string) *view.JarTest {
	test, running := s.RunningJars(ink)
	if !running {
		return nil
	}
	v := &view.JarTest{MixedAt: test.Started.MixedAt, Before: view.JarSpreads(test.Started.Before), After: view.JarSpreads(test.Started.After)}
	for i, j := range test.Started.Jars {
		good, gone := test.Seen(i + 1)
		at := func(hours float64) time.Time {
			return test.Started.MixedAt.Add(time.Duration(hours * float64(time.Hour)))
		}
		row := view.Jar{Jar: i + 1, TemperatureC: j.TemperatureC, HumidityPct: j.HumidityPct, Salt: j.Salt, Open: j.Open, LookFrom: at(j.LowH), Expected: at(j.ExpectedH), Until: at(j.HighH)}
		if good > 0 {
			row.LastGood = some(at(good))
		}
		if gone > 0 {
			row.GoneOff = some(at(gone))
		}
		v.Jars = append(v.Jars, row)
	}
	return v
}
