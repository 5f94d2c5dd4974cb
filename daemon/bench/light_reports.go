package bench

import (
	"context"
	"fmt"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/view"
	"potlifed/model/alarm"
	"potlifed/model/light"
)

// Lamp takes in how a lamp that reports back stands.
func (b *Bench) Lamp(ctx context.Context, light string, w light.Report) {
	b.enter(ctx, lightReport{light, w})
}

type lightReport struct {
	light  string
	report light.Report
}

func (in lightReport) enter(b *Bench, _ time.Time) {
	b.lightReports[in.light] = in.report
	b.dirty = true
}

// confirms returns whether a lamp shows what it was told, by its own report; empty for one
// that does not report back.
func confirms(c config.Light, w light.Report, by *benchClock) light.Confirmation {
	switch {
	case c.Confirms == "":
		return ""
	case !w.Acknowledged || w.Unanswered && by.mono()-w.UnansweredSince < by.lapse(c.ConfirmWithin):
		return light.ReportWaiting
	case w.Unanswered:
		return light.ReportSilent
	}
	return light.ReportConfirmed
}

// lightReports looks for lamps that do not confirm. One that cannot be told anything, since the
// broker cannot be reached, gets no alarm for that; one that was silent is believed again only
// once it has confirmed.
func (l *causes) lightReports() {
	for _, c := range l.b.shop.Lights {
		w := l.b.lightReports[c.ID]
		switch confirms(c, w, &l.b.clock) {
		case light.ReportWaiting:
			l.notKnown(alarm.LightSilent, c.ID)
		case light.ReportSilent:
			say := l.b.shop.locale
			since := say.Clock(l.now.Add(w.UnansweredSince-l.b.clock.mono()), l.now)
			switch {
			case w.Unreadable != "":
				l.holdsWith(alarm.LightSilent, c.ID, trouble{say.Say("alarm-text.lamp-unreadable", "lamp", c.ID, "since", since), w.Unreadable})
			case w.Says != "":
				l.holdsWith(alarm.LightSilent, c.ID, trouble{say.Say("alarm-text.lamp-contradicts", "lamp", c.ID, "since", since), fmt.Sprintf("it reports %q", w.Says)})
			default:
				l.holds(alarm.LightSilent, c.ID, say.Say("alarm-text.lamp-silent", "lamp", c.ID, "since", since))
			}
		}
	}
}

// addLightReport adds to a light what its lamp reports back.
func addLightReport(c config.Light, w light.Report, by *benchClock, v *view.Light) {
	if v.Confirmation = confirms(c, w, by); v.Confirmation == "" {
		return
	}
	v.Says = w.Says
	if w.Confirmed {
		v.ConfirmedAt = some(by.at(w.ConfirmedAt))
	}
}
