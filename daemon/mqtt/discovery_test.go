package mqtt

import (
	"encoding/json"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/topics"
	"potlifed/daemon/view"
)

// discovered is a decider that also says what hubs may find.
func discovered() *decider {
	d := newDecider()
	d.discovery = newDiscovery(Settings{Discovery: "homeassistant", Prefix: "potlife", Bench: "bench-1", Lights: []Light{
		{ID: "light-1", Reads: []topics.Form{topics.FormJSON}}, {ID: "light-2", Reads: []topics.Form{topics.FormMeaning}},
	}}, d.topics)
	return d
}

// entityTopic is PREFIX/COMPONENT/NODE/OBJECT/config; the ids have letters, digits, underscores and hyphens.
var entityTopic = regexp.MustCompile(`^homeassistant/(sensor|binary_sensor)/[a-zA-Z0-9_-]+/[a-zA-Z0-9_-]+/config$`)

// checkEntities checks the rules of the hub's public documentation of this form, from memory: an entity with a device has
// a unique id; a device has identifiers; what is measured has a unit, and a time has none; a binary sensor has
// neither a unit nor a class of state, and its template gives ON or OFF.
func checkEntities(t *testing.T, all map[string]Entity) {
	t.Helper()
	ids := map[string]string{}
	for topic, e := range all {
		component := entityTopic.FindStringSubmatch(topic)
		if component == nil {
			t.Errorf("topic %s", topic)
			continue
		}
		if other, twice := ids[e.UniqueID]; twice || e.UniqueID == "" {
			t.Errorf("%s and %s have the unique id %q", topic, other, e.UniqueID)
		}
		ids[e.UniqueID] = topic
		measured := e.StateClass == "measurement"
		switch {
		case len(e.Device.Identifiers) != 1 || e.Device.Identifiers[0] == "" || e.Origin.Name == "":
			t.Errorf("%s: device %+v, origin %+v", topic, e.Device, e.Origin)
		case component[1] == "binary_sensor" && (measured || e.Unit != "" || !strings.Contains(e.ValueTemplate, "'ON' if") || !strings.Contains(e.ValueTemplate, "'OFF'")):
			t.Errorf("%s: a binary sensor with %+v", topic, e)
		case measured != (e.Unit != "") || e.DeviceClass == "timestamp" && measured:
			t.Errorf("%s: class %q of state with unit %q", topic, e.StateClass, e.Unit)
		case e.DeviceClass == "temperature" && e.Unit != "°C" || e.DeviceClass == "humidity" && e.Unit != "%":
			t.Errorf("%s: %s in %q", topic, e.DeviceClass, e.Unit)
		}
	}
}

const found = "homeassistant/sensor/potlifed_potlife_bench-1/"

// TestDiscovery: an entity for each light that reads JSON, the air, batches and alarms; each once, and away with what
// it is about.
func TestDiscovery(t *testing.T) {
	d := discovered()
	entities := func(list []string) (only []string) {
		for _, topic := range list {
			if strings.HasPrefix(topic, "homeassistant/") {
				only = append(only, strings.TrimPrefix(topic, "homeassistant/"))
			}
		}
		return only
	}
	all := map[string]Entity{}
	for _, c := range d.round(&d.snap, d.now, nil) {
		if e, ok := c.value.(Entity); ok {
			all[c.topic] = e
		}
	}
	light := all[found+"light_light-1/config"]
	if light.StateTopic != root+"light/light-1" || light.ExpireAfterS != 90 || light.AvailabilityTopic != root+"availability" || light.UniqueID != "potlifed_potlife_bench-1_light_light-1" {
		t.Errorf("%+v in %v", light, slices.Sorted(maps.Keys(all)))
	}
	if _, has := all[found+"light_light-2/config"]; has {
		t.Error("a light whose JSON is not published is announced")
	}
	for topic, e := range all {
		if text, err := json.Marshal(e); err != nil || e.Name == "" || strings.Contains(e.Name, "discovery.") || !strings.HasPrefix(e.StateTopic, root) || !json.Valid(text) {
			t.Errorf("%s: %+v", topic, e)
		}
	}
	checkEntities(t, all)
	first := entities(d.after(time.Second, nil))
	if len(first) != len(all) || len(all) != 1+2*len(d.snap.Air)+len(d.snap.Batches)+len(d.snap.Alarms) {
		t.Errorf("%d entities, %d sent: %v", len(all), len(first), first)
	}
	if again := entities(d.after(time.Second, nil)); len(again) > 0 {
		t.Errorf("again: %v", again)
	}
	if ended := entities(d.after(time.Second, func(s *view.Snapshot) { s.Batches = nil })); len(ended) != 1 || !strings.HasPrefix(ended[0], "sensor/potlifed_potlife_bench-1/batch_") {
		t.Errorf("ended: %v", ended)
	}
	if d.current(found+"batch_old/config") || !d.current(found+"light_light-1/config") || !d.current("homeassistant/sensor/other/x/config") {
		t.Error("what ended while the daemon was down, or what others announce, is not told apart")
	}
	if newDiscovery(Settings{}, d.topics) != nil || newDiscovery(Settings{Discovery: "x", Plant: true}, d.topics) != nil {
		t.Error("discovery without being asked for, or at the plant's broker")
	}
}
