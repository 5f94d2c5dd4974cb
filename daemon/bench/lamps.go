package bench

import (
	"context"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/view"
	"potlifed/model/alarm"
	"potlifed/model/light"
)

// Lamp takes in how a lamp that reports back stands.
func (b *Bench) Lamp(ctx context.Context, light string, w light.Report) {
	b.enter(ctx, lampWord{light, w})
}

type lampWord struct {
	light string
	word  light.Report
}

func (in lampWord) enter(b *Bench, _ time.Time) {
	b.lamps[in.light] = in.word
	b.dirty = true
}

// confirms says whether a lamp shows what it was told, by its own account. It is empty
// for one that does not report back.
func (b *Bench) confirms(c config.Light) light.Confirmation {
	switch w, mono := b.lamps[c.ID], b.clock.Now().Mono; {
	case c.Confirms == "":
		return ""
	case !w.Acknowledged || w.Unanswered && mono-w.UnansweredSince < clock.Lapse(b.clock, c.ConfirmWithin):
		return light.ReportWaiting
	case w.Unanswered:
		return light.ReportSilent
	}
	return light.ReportConfirmed
}

// lamps looks for lamps that do not confirm. One that cannot be told anything, since the
// broker is away, is not blamed for it, and one that was silent is believed again only
// once it has confirmed.
func (l *look) lamps() {
	for _, c := range l.b.shop.Lights {
		w := l.b.lamps[c.ID]
		switch l.b.confirms(c) {
		case light.ReportWaiting:
			l.notKnown(alarm.LightSilent, c.ID)
		case light.ReportSilent:
			since := l.now.Add(w.UnansweredSince - l.b.clock.Now().Mono).Local().Format("15:04:05")
			switch {
			case w.Unreadable != "":
				l.holds(alarm.LightSilent, c.ID, "whether lamp %s obeys is not known since %s: %s", c.ID, since, w.Unreadable)
			case w.Says != "":
				l.holds(alarm.LightSilent, c.ID, "lamp %s says %q since %s, which is not what it was told", c.ID, w.Says, since)
			default:
				l.holds(alarm.LightSilent, c.ID, "lamp %s has not confirmed what it was told at %s", c.ID, since)
			}
		}
	}
}

// addLamp adds to a light what its lamp reports back.
func (b *Bench) addLamp(c config.Light, now time.Time, v *view.Light) {
	w := b.lamps[c.ID]
	if v.Confirmation = b.confirms(c); v.Confirmation == "" {
		return
	}
	v.Says = w.Says
	if w.Confirmed {
		v.ConfirmedAt = some(now.Add(w.ConfirmedAt - b.clock.Now().Mono))
	}
}
