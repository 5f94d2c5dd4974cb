package main

import (
	"encoding/json"
	"fmt"
	"os/exec"
	"strings"
	"testing"

	"potlifed/daemon/mqtt"
)

// TestDiscoveryAtABroker: a hub that connects later finds the bench's entities at a real broker, each with the topic on which its
// state is retained, and nothing of a batch that ended while the service was down.
func TestDiscoveryAtABroker(t *testing.T) {
	t.Parallel()
	m := newMosquitto(t)
	const old = "homeassistant/sensor/potlifed_potlife_bench-1/batch_0101-9/config"
	const others = "homeassistant/sensor/thermometer/x/config"
	for _, topic := range []string{old, others} {
		if out, err := exec.Command("mosquitto_pub", "-h", "127.0.0.1", "-p", fmt.Sprint(m.port), "-q", "1", "-r", "-t", topic, "-m", "{}").CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
	}
	retained := func(filter string) map[string]string {
		out, _ := exec.Command("mosquitto_sub", "-h", "127.0.0.1", "-p", fmt.Sprint(m.port), "-t", filter, "-F", "%t\t%p", "--retained-only", "-W", "1").Output()
		all := map[string]string{}
		for line := range strings.Lines(string(out)) {
			topic, payload, _ := strings.Cut(strings.TrimSpace(line), "\t")
			all[topic] = payload
		}
		return all
	}
	b := newHardware(t)
	p := start(t, b.configuration(t, m.configuration()+"discovery: {}\n"))
	defer p.stop()
	eventually(t, "the entities", func() (bool, any) {
		all := retained("homeassistant/#")
		_, stale := all[old]
		_, kept := all[others]
		return len(all) > 3 && !stale && kept, all
	})
	states := retained("potlife/#")
	for topic, payload := range retained("homeassistant/+/potlifed_potlife_bench-1/#") {
		var e mqtt.Entity
		if err := json.Unmarshal([]byte(payload), &e); err != nil {
			t.Errorf("%s: %s: %v", topic, payload, err)
		}
		if states[e.StateTopic] == "" || states[e.AvailabilityTopic] != "online" {
			t.Errorf("%s: %s has no state in %v", topic, payload, states)
		}
	}
}
