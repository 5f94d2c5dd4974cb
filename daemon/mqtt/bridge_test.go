package mqtt

import (
	"fmt"
	"os"
	"strings"
	"testing"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/mqtt/mqtttest"
)

// The lines that the reference gives for a bridge between two brokers deliver what was published
// while the line was cut: everything, in its order. mosquitto's own limit is 1,000 messages.
func TestBridgeOfTheReferenceLosesNothing(t *testing.T) {
	reference, err := os.ReadFile("../reference/reference.tmpl")
	if err != nil {
		t.Fatal(err)
	}
	_, lines, found := strings.Cut(string(reference), "```\nmax_queued_messages")
	lines, _, ended := strings.Cut(lines, "```")
	if !found || !ended || !strings.Contains(lines, "address plant.example:1883\n") {
		t.Fatal("the reference has no lines for a bridge")
	}
	plant := mqtttest.StartMosquitto(t)
	line := mqtttest.NewRelay(t, plant.Addr())
	lines = strings.Replace("max_queued_messages"+lines, "plant.example:1883", line.Addr(), 1)
	hall := mqtttest.StartMosquitto(t, lines+"restart_timeout 1") // as soon as the line is back, so that the test is short

	there := mqtttest.Subscribe(t, plant.Addr())
	here := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + hall.Addr()).SetClientID("bench-1"))
	mqtttest.Done(t, "connect to the hall's broker", here.Connect())
	t.Cleanup(func() { here.Disconnect(100) })
	const topic = "potlife/bench-1/events"
	var sent []string
	publish := func(count int) {
		var last paho.Token
		for range count {
			sent = append(sent, fmt.Sprint(len(sent)))
			last = here.Publish(topic, 1, false, sent[len(sent)-1])
		}
		mqtttest.Done(t, "publish", last)
	}
	arrived := func() {
		there.Expect(t, "the newest event at the plant", mqtttest.Is(topic, sent[len(sent)-1]))
	}
	publish(1)
	arrived() // the bridge is up
	line.Cut()
	publish(2500)
	line.Mend()
	arrived()

	var got []string
	for _, m := range there.On(topic) {
		if len(got) == 0 || m.Payload != got[len(got)-1] { // one that was under way may come twice
			got = append(got, m.Payload)
		}
	}
	if strings.Join(got, " ") != strings.Join(sent, " ") {
		t.Errorf("%d events in order of %d that were sent", len(got), len(sent))
	}
}
