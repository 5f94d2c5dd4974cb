package config

import (
	"path/filepath"
	"regexp"
	"slices"
)

// shop reads the whole file. The order is the order of the sample, so that the list
// of known keys reads like it.
func (r *reader) shop(top *mapping, shop *Shop) {
	standard := defaults()
	top.require("bench", idRule.want)
	top.text("bench", &shop.Bench, idRule)
	top.text("data_dir", &shop.DataDir, absolutePath)
	if m := top.section("http"); m != nil {
		shop.HTTP = r.http(m, standard.HTTP)
		m.close()
	}
	mqtt, broker := top.section("mqtt"), top.section("broker")
	if mqtt != nil {
		shop.MQTT = r.mqtt(mqtt, standard.MQTT, broker != nil)
		mqtt.close()
	}
	shop.Broker = Broker{}
	if broker != nil {
		shop.Broker = r.broker(broker, standard.Broker)
		broker.close()
	}
	if plant := top.section("plant"); plant != nil {
		shop.Plant = r.plant(plant, shop, mqtt != nil || broker != nil)
		plant.close()
	}
	if m := top.section("discovery"); m != nil {
		shop.Discovery = "homeassistant"
		m.text("prefix", &shop.Discovery, prefixRule)
		m.close()
		if mqtt == nil && broker == nil {
			top.wrongAs("discovery", "without a broker", "mqtt or broker, or no section discovery")
		}
	}
	r.others(top, shop)
	r.devices(top, standard, shop)
	r.floor(top, standard, shop)
	r.trends(top, standard, shop)
	r.materials(top, standard, shop)
	if m := top.section("alarms"); m != nil {
		m.duration("ending_before", &shop.Alarms.EndingBefore, 0, longestWait, "30m")
		m.duration("mixing_takes", &shop.Alarms.MixingTakes, 0, longestWait, "15m")
		m.number("stop_at_risk", &shop.Alarms.StopAtRisk, bounds{min: 0, above: true, max: 1})
		m.close()
	}
	top.text("clock", &shop.Clock, oneOf("kernel", "assume"))
	if m := top.section("retention"); m != nil {
		r.retention(m, &shop.Retention)
		m.close()
	}
	r.locale(top, shop)
}

func (r *reader) http(m *mapping, http HTTP) HTTP {
	m.text("listen", &http.Listen, listenRule("127.0.0.1:9755"))
	m.texts("hosts", &http.Hosts, hostRule)
	m.text("public_url", &http.PublicURL, publicURLRule)
	m.text("web_config_file", &http.WebConfigFile, optionalPath)
	return http
}

// mqtt reads the section of the client. Its keys may stand without url when there is
// a built-in broker.
func (r *reader) mqtt(m *mapping, mqtt MQTT, builtIn bool) MQTT {
	if !builtIn {
		m.require("url", brokerURLRule.want+", or a broker section for the built-in one")
	}
	m.client(&mqtt)
	if builtIn && len(mqtt.URLs) > 1 && m.sound("url") {
		m.fault("url", "several addresses beside broker", "one address, or no section broker")
	}
	m.boolean("commands", &mqtt.Commands)
	return mqtt
}

// plant reads the section of the plant's broker, which gets what the hall's does, except for lights
// and commands. hall is whether there is a broker for these.
func (r *reader) plant(m *mapping, shop *Shop, hall bool) MQTT {
	plant := MQTT{}
	m.require("url", brokerURLRule.want)
	m.client(&plant)
	if plant.TopicPrefix == "" {
		plant.TopicPrefix = shop.MQTT.TopicPrefix
	}
	same := func(url string) bool { return slices.Contains(shop.MQTT.URLs, url) || shop.Broker.Serves(url, nil) }
	switch {
	case !hall:
		m.fault("url", "a plant's broker without mqtt", "mqtt or broker, the broker of the lights; a bench with one broker needs no plant")
	case m.sound("url", "topic_prefix") && plant.TopicPrefix == shop.MQTT.TopicPrefix && slices.ContainsFunc(plant.URLs, same):
		m.fault("url", "the address of mqtt or broker, with the same topic_prefix", "another broker, or no section plant")
	}
	return plant
}

// client reads what a connection to a broker has, whichever it is.
func (m *mapping) client(mqtt *MQTT) {
	m.oneOrMore("url", &mqtt.URLs, brokerURLRule)
	for i, url := range mqtt.URLs {
		mqtt.URLs[i] = withPort(url)
	}
	if len(mqtt.URLs) > 1 && m.sound("url") && slices.ContainsFunc(mqtt.URLs, isTLS) && slices.ContainsFunc(mqtt.URLs, isPlain) {
		m.fault("url", "addresses with mqtt:// and with mqtts://", "the same for all")
	}
	m.text("ca_file", &mqtt.CAFile, absolutePath)
	m.text("cert_file", &mqtt.CertFile, absolutePath)
	m.text("key_file", &mqtt.KeyFile, absolutePath)
	m.text("topic_prefix", &mqtt.TopicPrefix, prefixRule)
	m.text("username", &mqtt.Username, nonEmpty("a user name"))
	m.text("password_file", &mqtt.PasswordFile, absolutePath)

	// What would have no effect is refused: somebody believes that it has.
	if m.sound("url") && !mqtt.TLS() {
		for _, key := range []string{"ca_file", "cert_file", "key_file"} {
			if m.has(key) && m.sound(key) {
				m.wrongAs(key, "without TLS", "url: mqtts://…, or no such key")
			}
		}
	}
	for _, pair := range [][2]string{{"cert_file", "key_file"}, {"key_file", "cert_file"}, {"password_file", "username"}} {
		m.together(pair[0], pair[1])
	}
}

// together refuses a key that has no effect without another.
func (m *mapping) together(key, with string) {
	if m.has(key) && !m.has(with) && m.sound(key) {
		m.wrongAs(key, "without "+with, "both or neither")
	}
}

// broker reads the built-in broker. Beyond loopback it asks for a user.
func (r *reader) broker(m *mapping, broker Broker) Broker {
	m.text("listen", &broker.Listen, listenRule("127.0.0.1:1883"))
	m.text("cert_file", &broker.CertFile, absolutePath)
	m.text("key_file", &broker.KeyFile, absolutePath)
	m.together("cert_file", "key_file")
	m.together("key_file", "cert_file")
	return broker
}

func (r *reader) retention(m *mapping, keep *Retention) {
	const longest = 20 * 366 * day
	m.duration("raw", &keep.Raw, day, longest, "14d")
	m.duration("minutes", &keep.Minutes, day, longest, "400d")
	if m.sound("raw", "minutes") && keep.Minutes < keep.Raw {
		m.disagree("minutes", sayDuration(keep.Minutes), "no shorter than raw, "+sayDuration(keep.Raw))
	}
}

var absolutePath = textRule{"an absolute path", func(text string) string {
	if filepath.IsAbs(text) {
		return ""
	}
	return "an absolute path; the service has no folder of its own to start from"
}}

var optionalPath = textRule{absolutePath.want + `, or ""`, func(text string) string {
	if text == "" {
		return ""
	}
	return absolutePath.check(text)
}}

func nonEmpty(what string) textRule {
	return textRule{what, func(text string) string {
		if text == "" {
			return what
		}
		return ""
	}}
}

// prefixRule keeps wildcards and empty levels out of topics. Dots are for configurations from before
// it was known that some brokers change them; [Shop.Question] names them.
var prefixRule = matching("topic levels of letters, digits, hyphens and underscores, with / between; dots only where they are in use already",
	regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}(/[A-Za-z0-9._-]{1,64}){0,7}$`))
