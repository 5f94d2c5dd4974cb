package config

import "fmt"

// floor reads the cups, the presses and their lights.
func (r *reader) floor(top *mapping, standard Shop, shop *Shop) {
	shop.Cups, shop.Presses, shop.Lights = nil, nil, nil
	const oneCup = "a list with one cup at least, or no such key for the default"
	const onePress = "a list with one press at least, or no such key for the default"
	own := shop.MQTT.TopicPrefix + "/" + shop.Bench + "/"
	const oneLight = "a list with one light at least, or no such key for one a press"
	top.each("cups", oneCup, func(m *mapping) { shop.Cups = append(shop.Cups, r.cup(m, standard.Cups[0])) })
	top.some("cups", oneCup)
	if !top.has("cups") {
		r.give(aCup, standard.Cups[0].ID, 0)
	}
	top.each("presses", onePress, func(m *mapping) { shop.Presses = append(shop.Presses, r.press(m)) })
	top.some("presses", onePress)
	if !top.has("presses") {
		r.give(aPress, standard.Presses[0].ID, 0)
	}
	top.each("lights", oneLight, func(m *mapping) { shop.Lights = append(shop.Lights, r.light(m, standard.Lights[0], own)) })
	top.some("lights", oneLight)
}

// cup reads a cup. How much it takes has no default once a cup is described: another
// cup's figures would overfill it.
func (r *reader) cup(m *mapping, c Cup) Cup {
	grams := bounds{min: 0, above: true, max: 10000, unit: "grams"}
	c.ID = ""
	m.id(aCup, &c.ID)
	m.require("ink_minimum_g", "the least ink that may be mixed in it, in grams")
	m.number("ink_minimum_g", &c.InkMinimumG, grams)
	m.require("fill_maximum_g", "the most that may be in it, in grams")
	m.number("fill_maximum_g", &c.FillMaximumG, grams)
	m.number("empty_g", &c.EmptyG, grams)
	m.number("mouth_mm", &c.MouthMM, bounds{min: 10, max: 500})
	m.number("exposure", &c.Exposure, bounds{min: 0, above: true, max: 1})
	m.duration("lag", &c.Lag, 0, longestWait, "10m")
	if m.has("ink_minimum_g") && m.has("fill_maximum_g") && m.sound("ink_minimum_g", "fill_maximum_g") && c.FillMaximumG <= c.InkMinimumG {
		m.disagree("fill_maximum_g", fmt.Sprint(c.FillMaximumG), fmt.Sprintf("more than ink_minimum_g, %v", c.InkMinimumG))
	}
	return c
}

func (r *reader) press(m *mapping) Press {
	var p Press
	m.id(aPress, &p.ID)
	m.ref("zone", anAirZone, &p.Zone)
	m.ref("cup", aCup, &p.Cup)
	return p
}

// light reads a light. own is what the daemon's own topics begin with.
func (r *reader) light(m *mapping, l Light, own string) Light {
	m.id(aLight, &l.ID)
	m.require("presses", "a list of the presses it shows")
	m.refs("presses", aPress, &l.Presses)
	m.some("presses", "one press at least")
	m.texts("reads", &l.Reads, oneOf("json", "meaning", "colour"))
	m.some("reads", "one of json, meaning, colour at least")
	r.lamp(m, &l)
	r.confirms(m, &l, own)
	return l
}
