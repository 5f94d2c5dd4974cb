package bench

import (
	"maps"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/lifecycle"
)

// reconfigure is a configuration that was reloaded, on its way to the loop.
type reconfigure struct{ shop config.Shop }

func (reconfigure) Verb() string { return request.ReloadConfiguration{}.Verb() }

// codeRestart tells a program that the configuration is right and that only a restart helps.
const codeRestart = "needs-restart"

// readAnew reads the configuration. The error is a refusal that names every fault. It is called
// outside the loop, which must not wait for a file.
func (b *Bench) readAnew() (request.Change, error) {
	if b.readShop == nil {
		return nil, request.Refuse(request.NotNow, "no configuration file", "this program was started without a configuration file")
	}
	shop, err := b.readShop()
	if err != nil {
		return nil, request.Refuse(request.Invalid, "the configuration is not right", "nothing was changed: %v", err)
	}
	return reconfigure{shop}, nil
}

// offer shows the configuration in use to other goroutines.
func (b *Bench) offer() {
	c := b.shop
	b.offered.Store(&c)
}

// reconfigure takes a configuration into use, or refuses it as a whole. Open batches keep what they
// were mixed with: it is in the journal.
func (b *Bench) reconfigure(now time.Time, by actor.Name, c reconfigure) (any, error) {
	changes := config.Compare(b.shop.Shop, c.shop)
	if keys := changes.Restart; len(keys) > 0 {
		r := request.Refuse(request.NotNow, "needs a restart", "nothing was changed: %s cannot change while potlifed runs; restart the service to use the new configuration", strings.Join(keys, ", "))
		r.Code = codeRestart
		return nil, r
	}
	if err := b.stillNeeded(c.shop); err != nil {
		return nil, err
	}
	answer := view.Configuration{Changes: append([]string{}, changes.Words...)}
	if len(changes.Words) == 0 {
		return answer, nil
	}
	for _, z := range b.zones { // the air up to here was measured by the sensors up to here
		b.closeAir(z.id, now)
	}
	b.shop = newCatalogue(c.shop)
	b.offer()
	b.useWithinOpened = useWithinOpened(c.shop)
	b.refitSensors(now)
	b.refitScales()
	b.refitFollowers()
	b.decide(now, by, record.ConfigurationRead{Changes: changes.Words, Devices: b.shop.addresses()})
	b.dirty = true
	if b.reconfigured != nil {
		b.reconfigured(c.shop)
	}
	return answer, nil
}

// stillNeeded refuses a configuration without something that an open batch is using.
func (b *Bench) stillNeeded(shop config.Shop) error {
	next := newCatalogue(shop)
	for _, batch := range b.state.Batches {
		if batch.Phase == lifecycle.Closed {
			continue
		}
		missing := func(what, id string) error {
			return request.Refuse(request.NotNow, "in use", "nothing was changed: batch %s uses %s %s, which the configuration no longer has; finish, move or close the batch first", batch.ID, what, id)
		}
		if _, err := next.inkNamed(batch.Ink); err != nil {
			return missing("ink", batch.Ink)
		}
		if _, err := next.cupFor("", batch.Cup); err != nil {
			return missing("cup", batch.Cup)
		}
		if !slices.Contains(next.zones(), batch.Zone) {
			return missing("zone", batch.Zone)
		}
		if batch.Press != "" {
			if _, err := next.pressNamed(batch.Press); err != nil {
				return missing("press", batch.Press)
			}
		}
		if s := b.scales[batch.Scale]; s != nil && batch.Phase == lifecycle.Mixing {
			i := slices.IndexFunc(shop.Scales, func(c config.Scale) bool { return c.ID == batch.Scale })
			if i < 0 {
				return missing("scale", batch.Scale)
			}
			if shop.Scales[i].DivisionG != s.DivisionG || shop.Scales[i].Zone != s.Zone {
				return request.Refuse(request.NotNow, "in use", "nothing was changed: batch %s is being mixed on scale %s, whose division_g or zone would change; finish or abandon the mix first", batch.ID, batch.Scale)
			}
		}
	}
	return nil
}

// refitSensors makes the sensors and zones those of the configuration. A sensor that is configured
// as before keeps its readings, and a zone its path.
func (b *Bench) refitSensors(now time.Time) {
	old := b.sensors
	b.sensors = map[string]*sensor{}
	zones := map[string]*zone{}
	for _, id := range b.shop.zones() {
		z := b.zones[id]
		if z == nil {
			z = &zone{id: id}
		}
		z.sensors = nil
		zones[id] = z
	}
	fresh := slices.DeleteFunc(b.shop.zones(), func(id string) bool { return b.zones[id] != nil })
	b.zones, b.zoneIDs = zones, slices.Sorted(maps.Keys(zones))
	for _, c := range b.shop.Sensors {
		s := old[c.ID]
		switch {
		case s == nil || s.Zone != c.Zone || s.Address() != c.Address(): // another device, or other air
			s = &sensor{Sensor: c, clock: b.clock.real, words: b.shop.locale, addedAt: b.clock.mono()}
		case s.Sensor != c:
			s.Sensor, s.judge = c, air.Judge{}
		}
		b.sensors[c.ID] = s
		zones[c.Zone].sensors = append(zones[c.Zone].sensors, s)
	}
	for _, z := range zones {
		z.speak = slices.DeleteFunc(slices.Clone(z.speak), func(s *sensor) bool { return b.sensors[s.ID] != s || s.Zone != z.id })
		if z.source != nil && b.sensors[z.source.ID] != z.source {
			if z.source = nil; len(z.speak) > 0 {
				z.source = z.speak[0]
			}
		}
	}
	for _, id := range fresh {
		b.openZone(zones[id], now)
	}
}

// added reports whether an instrument came so short a time ago that it may not have answered yet.
func (b *Bench) added(at time.Duration) bool {
	return at != 0 && b.clock.mono()-at < b.clock.lapse(settlingFor)
}

// refitScales makes the scales those of the configuration. A scale keeps what it follows, so that a
// pour goes on, unless its division has changed.
func (b *Bench) refitScales() {
	old := b.scales
	b.scales = map[string]*scale{}
	for _, c := range b.shop.Scales {
		s := old[c.ID]
		if s == nil || s.DivisionG != c.DivisionG {
			s = newScale(c, b.clock.real, b.shop.locale)
			s.addedAt = b.clock.mono()
		}
		s.Scale = c
		b.scales[c.ID] = s
	}
}
