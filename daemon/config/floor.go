package config

import (
	"fmt"
	"strings"

	"potlifed/model/light"
)

// floor reads the cups, the presses and their lights.
func (r *reader) floor(top *mapping, standard Shop, shop *Shop) {
	shop.Cups, shop.Presses, shop.Lights = nil, nil, nil
	const oneCup = "a list with one cup at least, or no such key for the default"
	const onePress = "a list with one press at least, or no such key for the default"
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
	top.each("lights", oneLight, func(m *mapping) { shop.Lights = append(shop.Lights, r.light(m, standard.Lights[0])) })
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

func (r *reader) light(m *mapping, l Light) Light {
	m.id(aLight, &l.ID)
	m.require("presses", "a list of the presses it shows")
	m.refs("presses", aPress, &l.Presses)
	m.some("presses", "one press at least")
	m.texts("reads", &l.Reads, oneOf("json", "meaning", "colour"))
	m.some("reads", "one of json, meaning, colour at least")
	r.lamp(m, &l)
	return l
}

// lampTopic is a topic to publish on: no wildcards, no zero byte, and not the
// broker's own.
var lampTopic = textRule{"a topic of 1 to 200 characters without + and #, not beginning with $", func(text string) string {
	if text == "" || len(text) > 200 || text[0] == '$' || strings.ContainsAny(text, "+#\x00") {
		return "a topic of 1 to 200 characters without + and #, not beginning with $"
	}
	return ""
}}

// lampPayload may be anything that a lamp takes, such as a word, a colour or JSON with
// brightness and blinking. An empty one would end the retained message instead.
var lampPayload = textRule{"a text of 1 to 1000 bytes", func(text string) string {
	if text == "" || len(text) > 1000 {
		return "a text of 1 to 1000 bytes"
	}
	return ""
}}

// lamp reads what a lamp of another maker takes. Every meaning must have a payload: a
// lamp that is not told of one goes on showing another.
func (r *reader) lamp(m *mapping, l *Light) {
	m.text("topic", &l.Topic, lampTopic)
	payloads := m.section("payloads")
	switch {
	case m.has("topic") && m.has("reads"):
		m.fault("reads", "a list beside topic", "either reads, or topic with payloads")
	case m.has("topic"):
		l.Reads = nil
		m.require("payloads", "a payload for each meaning")
	case m.has("payloads"):
		m.require("topic", "the topic that these payloads go to")
	}
	if m.has("topic") && l.Topic != "" {
		m.only("topic", aTopic, l.Topic, "a topic of its own")
	}
	if payloads == nil {
		return
	}
	l.Payloads = map[light.Meaning]string{}
	for _, meaning := range light.Meanings() {
		text := ""
		payloads.require(string(meaning), lampPayload.want)
		payloads.text(string(meaning), &text, lampPayload)
		l.Payloads[meaning] = text
	}
	if l.Payloads[light.Unknown] != "" && l.Payloads[light.Unknown] == l.Payloads[light.InOrder] {
		payloads.wrong(string(light.Unknown), "another payload than in-order: unknown never looks like in order")
	}
	payloads.close()
}
