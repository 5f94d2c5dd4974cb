package config

import "fmt"

// mostOthers bounds what a board is asked to show, and what is kept for it.
const mostOthers = 64

// others reads the benches whose presses are shown beside our own.
func (r *reader) others(top *mapping, shop *Shop) {
	top.texts("others", &shop.Others, textRule{"the name of a bench, " + idRule.want, func(text string) string {
		if text == shop.Bench {
			return "another bench than this one"
		}
		return idRule.check(text)
	}})
	switch n := len(shop.Others); {
	case !top.has("others") || !top.sound("others"):
	case n > mostOthers:
		top.fault("others", fmt.Sprintf("%d benches", n), fmt.Sprintf("%d at most", mostOthers))
	case n > 0 && !top.has("mqtt") && !top.has("broker"):
		top.fault("others", "a list without mqtt", "mqtt, the broker that they speak to, or no such key")
	}
}
