package config

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Doubt is something in a checked configuration that is allowed and hardly meant.
type Doubt struct {
	What  string // such as "ink gloss-4, hardener_ratio"
	Found string
	Usual string // what would be usual, and what to do
}

func (d Doubt) String() string { return d.What + ": " + d.Found + "; " + d.Usual }

// usualBauds are the speeds that scales and sensors have.
var usualBauds = []int{300, 600, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600}

// Question returns what in a configuration should be looked at again, on a day. The limits are common
// practice, no source; a shop may have reasons for each.
func (s Shop) Question(today time.Time) []Doubt {
	var doubts []Doubt
	doubt := func(what, found, usual string, args ...any) {
		doubts = append(doubts, Doubt{what, found, fmt.Sprintf(usual, args...)})
	}
	doubtChecked := func(what string, checked time.Time) {
		if checked.After(today) {
			doubt(what+", checked", checked.Format(time.DateOnly), "this day has not come yet; write the day of the last check")
		}
	}
	for _, c := range s.Scales {
		doubtBaud(doubt, "scale "+c.ID, c.Baud, c.Port)
		doubtChecked("scale "+c.ID, c.Checked)
	}
	for _, c := range s.Sensors {
		doubtBaud(doubt, "sensor "+c.ID, c.Baud, c.Port)
		doubtChecked("sensor "+c.ID, c.Checked)
		if p := c.Accuracy.HumidityAccuracyPct; p < 0.1 {
			doubt("sensor "+c.ID+", accuracy.humidity_pct", fmt.Sprint(p), "2 to 5 is usual; is it a share? Write %g for %g %%", 100*p, 100*p)
		}
	}
	for _, c := range s.Cups {
		if c.EmptyG >= c.FillMaximumG {
			doubt("cup "+c.ID+", empty_g", fmt.Sprintf("%v g", c.EmptyG), "the empty cup weighs more than the %v g that it may hold; fill_maximum_g is the content alone", c.FillMaximumG)
		}
	}
	for _, prefix := range []struct{ key, value string }{{"mqtt.topic_prefix", s.MQTT.TopicPrefix}, {"plant.topic_prefix", s.Plant.TopicPrefix}} {
		if strings.Contains(prefix.value, ".") {
			doubt(prefix.key, prefix.value, "a dot in a topic comes back as a slash from some brokers, such as RabbitMQ, and then nothing is delivered; use hyphens")
		}
	}
	own := s.MQTT.TopicPrefix + "/" + s.Bench + "/"
	for _, l := range s.Lights {
		if strings.HasPrefix(l.Topic, own) {
			doubt("light "+l.ID+", topic", l.Topic, "topics under %s are the daemon's own; use the lamp's own topic, or reads in place of topic", own)
		}
	}
	for _, k := range s.Inks {
		s.questionInk(doubt, k)
	}
	return doubts
}

func doubtBaud(doubt func(what, found, usual string, args ...any), what string, baud int, port string) {
	if baud != 0 && !strings.HasPrefix(port, "tcp://") && !slices.Contains(usualBauds, baud) {
		doubt(what+", baud", fmt.Sprint(baud), "usual speeds are 1200, 2400, 4800, 9600, 19200, 38400, 57600 and 115200")
	}
}

// questionInk looks at the figures of an ink.
func (s Shop) questionInk(doubt func(what, found, usual string, args ...any), k Ink) {
	what := "ink " + k.ID + ", "
	parts := float64(k.Ratio)
	if parts < 1 {
		doubt(what+"hardener_ratio", k.Ratio.String(), "more hardener than ink; the ratio is ink : hardener, usually 3:1 to 20:1; are the two reversed?")
	}
	least := s.Cups[0].InkMinimumG
	for _, c := range s.Cups {
		least = min(least, c.InkMinimumG)
	}
	for _, c := range s.Scales {
		if hardener := least / parts; c.DivisionG > hardener/10 && parts >= 1 {
			doubt("scale "+c.ID+", division_g", fmt.Sprintf("%v g", c.DivisionG), "the smallest mix of %s takes %.3g g of hardener; a division of at most %.2g g can weigh it", k.ID, hardener, hardener/10)
		}
	}
	shortest := k.Sheet.Shortest
	if k.Sheet.About != 0 {
		shortest = k.Sheet.About
	}
	if shortest < time.Hour {
		doubt(what+"pot_life", sayDuration(shortest), "4h to 14h is usual; is the unit right (m is minutes)?")
	} else if warn := s.Alarms.EndingBefore + s.Alarms.MixingTakes; warn >= shortest {
		doubt("alarms.ending_before with mixing_takes", sayDuration(warn), "%s lasts %s, so that its light would never be green; 30m and 15m are usual", k.ID, sayDuration(shortest))
	}
	for _, share := range []struct {
		key   string
		value float64
		usual string
	}{
		{"pot_life.dry_pct", k.Sheet.DryPct, "30"}, {"pot_life.humid_pct", k.Sheet.HumidPct, "80"},
		{"thinner_pct.max", k.ThinnerPct.Max, "20"}, {"ratio_tolerance_pct", 4 * k.RatioTolerancePct, "5"},
	} {
		if share.value > 0 && share.value <= 1 {
			doubt(what+share.key, fmt.Sprint(shareOf(share.key, share.value)), "per cent are meant, usually about %s; is it a share?", share.usual)
		}
	}
}

// shareOf returns the value as it is in the file.
func shareOf(key string, value float64) float64 {
	if key == "ratio_tolerance_pct" {
		return value / 4 // a tolerance of 1 % may be meant, one of 0.05 % can't be weighed
	}
	return value
}
