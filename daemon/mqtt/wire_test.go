package mqtt

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/topics"
	"potlifed/daemon/view"
	"potlifed/daemon/wiretest"
)

// TestNamesOfTopics pins every topic with the fields of its payload, and every command with
// its fields. Events have a list of their own.
func TestNamesOfTopics(t *testing.T) {
	at := time.Date(2026, 6, 12, 8, 30, 0, 0, time.UTC)
	snap := *newFixture().bench.Snapshot()
	snap.Air = []view.Air{{Zone: "ZONE"}}
	snap.Scales, snap.Sensors = []view.Scale{{ID: "ID"}}, []view.Sensor{{ID: "ID"}}
	snap.Batches = []view.Batch{{BatchState: batchState("ID", at)}}
	snap.Alarms = []view.Alarm{{Name: "NAME", Subject: "SUBJECT"}}
	b := topics.New("PREFIX", "BENCH")
	var lines []string
	add := func(topic string, payload any) {
		if text, is := payload.(string); is {
			lines = append(lines, topic+" = "+text)
			return
		}
		of, command := payload.(reflect.Type)
		if !command {
			of = reflect.TypeOf(payload)
		}
		for _, field := range wiretest.Fields(of) {
			lines = append(lines, topic+" "+field)
		}
	}
	for _, c := range newStates(b).round(&snap, time.Hour, nil) {
		add(c.topic, c.value)
	}
	add(b.Light("ID", topics.FormJSON), LightPayload{})
	add(b.Light("ID", topics.FormMeaning), "MEANING")
	add(b.Light("ID", topics.FormColour), "COLOUR")
	add(b.Heartbeat("ID"), "SECONDS")
	add(b.Probe(), "TEXT")
	add("DISCOVERY/COMPONENT/NODE/OBJECT/config", Entity{})
	add(b.Event(), "EVENT")
	add(b.Done("VERB"), Answer{})
	for _, row := range request.Table() {
		if row.MQTT {
			lines = append(lines, b.Do(row.Verb)+" at", b.Do(row.Verb)+" ref")
			add(b.Do(row.Verb), row.Type)
		}
	}
	slices.Sort(lines)
	wiretest.Golden(t, "../..", "mqtt.golden", *update, slices.Compact(lines))
}
