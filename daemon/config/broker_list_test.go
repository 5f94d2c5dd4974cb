package config

import (
	"reflect"
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

// plant takes the keys of mqtt, but for commands, and needs a broker for the lights beside it.
func TestPlantsBroker(t *testing.T) {
	const hall = "mqtt: {url: mqtt://a.example, topic_prefix: shop}\n"
	for _, c := range []struct {
		text  string
		want  MQTT
		fault string // a part of it
	}{
		{text: hall + "plant: {url: [mqtt://b.example, mqtt://c.example]}",
			want: MQTT{URLs: []string{"mqtt://b.example:1883", "mqtt://c.example:1883"}, TopicPrefix: "shop"}},
		{text: hall + "plant: {url: mqtts://b.example, topic_prefix: works, ca_file: /a, username: u, password_file: /p}",
			want: MQTT{URLs: []string{"mqtts://b.example:8883"}, TopicPrefix: "works", CAFile: "/a", Username: "u", PasswordFile: "/p"}},
		{text: hall + "plant: {url: mqtt://a.example:1883, topic_prefix: works}", want: MQTT{URLs: []string{"mqtt://a.example:1883"}, TopicPrefix: "works"}},
		{text: "broker: {}\nplant: {url: mqtt://b.example}", want: MQTT{URLs: []string{"mqtt://b.example:1883"}, TopicPrefix: "potlife"}},
		{text: hall + "plant: {url: mqtt://a.example:1883}", fault: "another broker"},
		{text: "broker: {}\nplant: {url: mqtt://localhost}", fault: "another broker"},
		{text: "plant: {url: mqtt://b.example}", fault: "the broker of the lights"},
		{text: hall + "plant: {}", fault: "plant.url: found nothing"},
		{text: hall + "plant: {url: mqtt://b.example, commands: true}", fault: `plant: found the unknown key "commands"`},
		{text: hall + "plant: {url: mqtt://b.example, ca_file: /a}", fault: "without TLS"},
		{text: hall + "plant: {url: mqtt://b.example, password_file: /p}", fault: "without username"},
	} {
		shop, err := Parse("shop.yaml", []byte(smallest+c.text+"\n"))
		switch {
		case c.fault != "":
			if err == nil || !strings.Contains(err.Error(), c.fault) {
				t.Errorf("%s: %v, want %q", c.text, err, c.fault)
			}
		case err != nil:
			t.Errorf("%s: %v", c.text, err)
		case !reflect.DeepEqual(shop.Plant, c.want):
			t.Errorf("%s: %+v, want %+v", c.text, shop.Plant, c.want)
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
