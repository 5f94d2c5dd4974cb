package bench

import (
	"math"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/alarm"
	"potlifed/model/cure"
	"potlifed/model/defect"
	"potlifed/model/evaporate"
)

// catalogue finds things in the configuration. Its errors are refusals.
type catalogue struct {
	config.Shop
	locale words.Locale
	kinds  []view.DefectCount // of defects, without counts
}

func newCatalogue(shop config.Shop) catalogue {
	c := catalogue{Shop: shop, locale: shop.Locale()}
	for _, id := range defect.Trade() {
		c.kinds = append(c.kinds, view.DefectCount{Kind: id, Words: c.locale.Say("defect." + id)})
	}
	for _, k := range shop.Defects {
		c.kinds = append(c.kinds, view.DefectCount{Kind: k.ID, Words: k.Words})
	}
	return c
}

// benchPlace is how a cup stands at the bench: open, and as slow to follow the air as
// plastic is.
var benchPlace = cure.Place{Exposure: 1, Lag: 25 * time.Minute}

// inkNamed returns the ink with an id.
func (c *catalogue) inkNamed(id string) (config.Ink, error) {
	i := slices.IndexFunc(c.Inks, func(k config.Ink) bool { return k.ID == id })
	if i < 0 {
		return config.Ink{}, request.Refuse(request.Invalid, "no such ink", "there is no ink %q in the configuration", id)
	}
	return c.Inks[i], nil
}

// scaleNamed returns the scale with an id; an empty id is that of the only scale.
func (c *catalogue) scaleNamed(id string) (config.Scale, error) {
	if id == "" && len(c.Scales) == 1 {
		return c.Scales[0], nil
	}
	for _, s := range c.Scales {
		if s.ID == id {
			return s, nil
		}
	}
	return config.Scale{}, c.noScale(id)
}

// noScale is the refusal of an id of no scale, or of an empty one where there are several.
func (c *catalogue) noScale(id string) error {
	if id != "" || len(c.Scales) == 0 {
		return request.Refuse(request.Invalid, "no such scale", "there is no scale %q in the configuration", id)
	}
	var ids []string
	for _, s := range c.Scales {
		ids = append(ids, s.ID)
	}
	return request.Refuse(request.Invalid, "scale missing", "the bench has several scales: name one of %s", strings.Join(ids, ", "))
}

// pressNamed returns the press with an id.
func (c *catalogue) pressNamed(id string) (config.Press, error) {
	i := slices.IndexFunc(c.Presses, func(p config.Press) bool { return p.ID == id })
	if i < 0 {
		return config.Press{}, request.Refuse(request.Invalid, "no such press", "there is no press %q in the configuration", id)
	}
	return c.Presses[i], nil
}

// cupFor returns the kind of cup that is meant for a press: the one that is named, else the
// press's own, else the first of the configuration. press may be empty.
func (c *catalogue) cupFor(press, cup string) (config.Cup, error) {
	if press != "" {
		p, err := c.pressNamed(press)
		if err != nil {
			return config.Cup{}, err
		}
		if cup == "" {
			cup = p.Cup
		}
	}
	if cup == "" {
		cup = c.Cups[0].ID
	}
	i := slices.IndexFunc(c.Cups, func(k config.Cup) bool { return k.ID == cup })
	if i < 0 {
		return config.Cup{}, request.Refuse(request.Invalid, "no such cup", "there is no cup %q in the configuration", cup)
	}
	return c.Cups[i], nil
}

// day returns the day of a time on the shop's calendar, YYYY-MM-DD.
func (c *catalogue) day(at time.Time) string { return c.locale.In(at).Format(time.DateOnly) }

// dayOfNumber returns the day of a time on the shop's calendar as the numbers of batches have it, YYYYMMDD.
func (c *catalogue) dayOfNumber(at time.Time) string { return c.locale.In(at).Format("20060102") }

// defectKinds returns the kinds of defect, without counts: those of the trade, then the shop's
// own.
func (c *catalogue) defectKinds() []view.DefectCount { return slices.Clone(c.kinds) }

// smallerCup returns the largest kind of cup that takes less than another one; ok is false when
// there is none.
func (c *catalogue) smallerCup(than config.Cup) (cup config.Cup, ok bool) {
	for _, k := range c.Cups {
		if k.FillMaximumG < than.FillMaximumG && (!ok || k.FillMaximumG > cup.FillMaximumG) {
			cup, ok = k, true
		}
	}
	return cup, ok
}

// placeOn is how a cup stands on a press.
func (c *catalogue) placeOn(p config.Press) cure.Place {
	for _, cup := range c.Cups {
		if cup.ID == p.Cup {
			return cure.Place{Exposure: cup.Exposure, Lag: cup.Lag}
		}
	}
	return benchPlace
}

// benchZone is the zone of the scale that a batch was mixed on, else of the first.
func (c *catalogue) benchZone(batch *record.Batch) string {
	for _, s := range c.Scales {
		if s.ID == batch.Scale {
			return s.Zone
		}
	}
	return c.Scales[0].Zone
}

// solvent is the thinner that goes into an ink: the first that its configuration names.
// Without one, or without its figures, nothing is estimated.
func (c *catalogue) solvent(ink config.Ink, cup config.Cup) record.Solvent {
	s := record.Solvent{MouthMM: cup.MouthMM}
	if len(ink.Thinners) == 0 {
		return s
	}
	for _, t := range c.Thinners {
		if t.ID == ink.Thinners[0] {
			s.ID, s.Thinner = t.ID, evaporate.Thinner{VapourPressurePa: t.VapourPressurePa, MolarMassG: t.MolarMassG}
		}
	}
	return s
}

// soonWithin is how long before its low end a batch's successor must be begun.
func (c *catalogue) soonWithin(batch *record.Batch) time.Duration {
	return c.Alarms.EndingBefore + c.Alarms.MixingTakes + batch.Mix.Recipe.Rest
}

// cupEmpty is what a batch's cup weighs empty; 0 where that is not known. The reading at
// the step cup is that of this very cup, unless it is far from what the configuration
// says, or the scale had been tared with the cup on it. A part that was split off stands
// in another cup than its mix began in.
func (c *catalogue) cupEmpty(s record.State, batch *record.Batch) float64 {
	stated := s.CupEmptyG[batch.Cup]
	if i := slices.IndexFunc(c.Cups, func(k config.Cup) bool { return k.ID == batch.Cup }); i >= 0 && c.Cups[i].EmptyG > 0 {
		stated = c.Cups[i].EmptyG
	}
	own := batch.Mix.CupG
	switch {
	case own <= batch.Mix.Recipe.DivisionG || batch.Family() != batch.ID:
		return stated
	case stated > 0 && math.Abs(own-stated) > max(2*batch.Mix.Recipe.DivisionG, stated/5):
		return stated
	}
	return own
}

// zones are all places that the configuration names. A press or a scale may stand where
// nothing measures.
func (c *catalogue) zones() []string {
	var ids []string
	add := func(id string) {
		if !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	for _, s := range c.Sensors {
		add(s.Zone)
	}
	for _, p := range c.Presses {
		add(p.Zone)
	}
	for _, s := range c.Scales {
		add(s.Zone)
	}
	return ids
}

// has reports whether the thing that an alarm is about exists: a batch in the state, all
// else in the configuration.
func (c *catalogue) has(s record.State, kind alarm.Subject, id string) bool {
	switch kind {
	case alarm.Batch:
		return s.Batches[id] != nil
	case alarm.Press:
		_, err := c.pressNamed(id)
		return err == nil
	case alarm.Zone:
		return slices.Contains(c.zones(), id)
	case alarm.Sensor:
		return slices.ContainsFunc(c.Sensors, func(x config.Sensor) bool { return x.ID == id })
	case alarm.Scale:
		return slices.ContainsFunc(c.Scales, func(x config.Scale) bool { return x.ID == id })
	case alarm.Trend:
		return slices.ContainsFunc(c.Trends, func(x config.Trend) bool { return x.ID == id })
	case alarm.Light:
		return slices.ContainsFunc(c.Lights, func(l config.Light) bool { return l.ID == id })
	}
	return id == c.Bench
}

// addresses returns where the configuration finds each instrument, see [record.SensorKey].
func (c *catalogue) addresses() map[string]string {
	all := map[string]string{}
	for _, s := range c.Sensors {
		all[record.SensorKey(s.ID)] = s.Address()
	}
	for _, s := range c.Scales {
		all[record.ScaleKey(s.ID)] = s.Port
	}
	return all
}

// deviceAlarms are the alarms about a device, with their priorities. A sensor and a
// scale may have one id.
func (c *catalogue) deviceAlarms(id string) (map[string]alarm.Priority, error) {
	about := map[string]alarm.Priority{}
	for _, d := range alarm.Definitions() {
		if (d.Subject == alarm.Sensor || d.Subject == alarm.Scale) && c.has(record.State{}, d.Subject, id) {
			about[d.Name] = d.Priority
		}
	}
	if len(about) == 0 {
		return nil, request.Refuse(request.NotFound, "no such sensor", "there is no sensor or scale %q in the configuration", id)
	}
	return about, nil
}
