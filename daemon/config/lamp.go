package config

import (
	"strings"
	"time"

	"potlifed/model/light"
)

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
	payloads, flashing := m.section("payloads"), m.section("flashing_payloads")
	switch {
	case m.has("topic") && m.has("reads"):
		m.fault("reads", "a list beside topic", "either reads, or topic with payloads")
	case m.has("topic"):
		l.Reads = nil
		m.require("payloads", "a payload for each meaning")
	case m.has("payloads"):
		m.require("topic", "the topic that these payloads go to")
	case m.has("flashing_payloads"):
		m.wrongAs("flashing_payloads", "without topic", "topic with payloads beside it")
	}
	if m.has("topic") && l.Topic != "" {
		m.only("topic", aTopic, l.Topic, "a topic of its own")
	}
	if payloads != nil {
		l.Payloads = everyMeaning(payloads)
		neverInOrder(payloads, l.Payloads, light.Unknown)
		payloads.close()
	}
	if flashing != nil {
		l.FlashingPayloads = r.flashing(flashing)
		flashing.close()
	}
}

// everyMeaning reads a payload for each meaning.
func everyMeaning(m *mapping) map[light.Meaning]string {
	all := map[light.Meaning]string{}
	for _, meaning := range light.Meanings() {
		text := ""
		m.require(string(meaning), lampPayload.want)
		m.text(string(meaning), &text, lampPayload)
		all[meaning] = text
	}
	return all
}

// neverInOrder refuses that any of the given meanings reads like in-order.
func neverInOrder(m *mapping, payloads map[light.Meaning]string, meanings ...light.Meaning) {
	for _, meaning := range meanings {
		if payloads[meaning] != "" && payloads[meaning] == payloads[light.InOrder] {
			m.wrong(string(meaning), "another payload than in-order: "+string(meaning)+" never looks like in order")
		}
	}
}

// flashing reads how a lamp is told to flash. Unknown always does, so that its payload
// stands under payloads alone.
func (r *reader) flashing(m *mapping) map[light.Meaning]string {
	some := map[light.Meaning]string{}
	for _, meaning := range light.Meanings() {
		text := ""
		m.text(string(meaning), &text, lampPayload)
		if text != "" {
			some[meaning] = text
		}
	}
	if m.has(string(light.Unknown)) {
		m.wrongAs(string(light.Unknown), "which always flashes", "it under payloads, and not here")
	}
	return some
}

// confirms reads how a lamp reports back what it shows.
func (r *reader) confirms(m *mapping, l *Light, own string) {
	m.text("confirms", &l.Confirms, lampTopic)
	m.duration("confirm_within", &l.ConfirmWithin, time.Second, 10*time.Minute, "10s")
	answers := m.section("confirm_payloads")
	if answers != nil {
		l.ConfirmPayloads = everyMeaning(answers)
		// An answer that reads like in-order would let a lamp that is stuck on it pass.
		neverInOrder(answers, l.ConfirmPayloads, light.DoNotPrint, light.Unknown, light.Act, light.Soon)
		answers.close()
	}
	if !m.has("confirms") {
		for _, key := range []string{"confirm_within", "confirm_payloads"} {
			if m.has(key) {
				m.wrongAs(key, "without confirms", "confirms, the topic that the lamp reports back on")
			}
		}
		return
	}
	if !m.sound("confirms") {
		return
	}
	switch {
	case l.Confirms == l.Topic:
		m.wrong("confirms", "another topic than topic: what is published there would come back as its own answer")
		return
	case strings.HasPrefix(l.Confirms, own):
		m.wrong("confirms", "a topic not under "+own+": those are the daemon's own")
		return
	case !m.has("topic") && len(l.Reads) > 1 && m.sound("reads"):
		m.fault("reads", strings.Join(l.Reads, ", "), "with confirms the one of them that the lamp obeys and answers to")
	}
	m.only("confirms", aTopic, l.Confirms, "a topic of its own")
}
