package config

import (
	"slices"
	"strings"
	"testing"
)

// mqtt.url is one address or the list of a cluster's nodes.
func TestBrokerAddresses(t *testing.T) {
	for _, c := range []struct {
		mqtt  string
		want  []string
		fault string // a part of it
	}{
		{mqtt: "url: mqtt://a.example", want: []string{"mqtt://a.example:1883"}},
		{mqtt: "url: [mqtts://a.example, 'mqtts://b.example:8884']", want: []string{"mqtts://a.example:8883", "mqtts://b.example:8884"}},
		{mqtt: "url: [mqtts://a.example, mqtt://b.example]", fault: "the same for all"},
		{mqtt: "url: []", fault: "an empty list"},
		{mqtt: "url: [mqtt://a.example, mqtt://a.example]", fault: "a second time"},
		{mqtt: "url: [mqtt://a.example, http://b.example]", fault: "mqtt.url[1]"},
		{mqtt: "url: [mqtt://a.example, mqtt://b.example]}\nbroker: {", fault: "no section broker"},
		{mqtt: "url: [mqtt://a.example, mqtt://b.example], ca_file: /a", fault: "without TLS"},
	} {
		shop, err := Parse("shop.yaml", []byte(smallest+"mqtt: {"+c.mqtt+"}\n"))
		switch {
		case c.fault != "":
			if err == nil || !strings.Contains(err.Error(), c.fault) {
				t.Errorf("%s: %v, want %q", c.mqtt, err, c.fault)
			}
		case err != nil:
			t.Errorf("%s: %v", c.mqtt, err)
		case !slices.Equal(shop.MQTT.URLs, c.want):
			t.Errorf("%s: %v, want %v", c.mqtt, shop.MQTT.URLs, c.want)
		}
	}
}

// Dots in topics are kept where they are in use, and doubted.
func TestDotsInTopicsAreDoubted(t *testing.T) {
	for prefix, want := range map[string]bool{"plant/hall-1": false, "plant/hall.1": true} {
		shop, err := Parse("shop.yaml", []byte(strings.Replace(usualShop, "broker: {}", "mqtt: {url: mqtt://a.example, topic_prefix: "+prefix+"}", 1)))
		if err != nil {
			t.Fatal(err)
		}
		got := slices.ContainsFunc(shop.Question(shop.Sensors[0].Checked), func(d Doubt) bool { return d.What == "mqtt.topic_prefix" })
		if got != want {
			t.Errorf("%s: doubted %v, want %v", prefix, got, want)
		}
	}
}
