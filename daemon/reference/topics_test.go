package reference

import (
	"reflect"
	"strings"
	"testing"

	"potlifed/daemon/mqtt"
	"potlifed/daemon/topics"
	"potlifed/daemon/view"
)

// topicText is a topic as the reference shows it.
type topicText struct {
	Topic, Meaning string
	Retained       bool
	QoS            int
	Fields         []row
}

// topicTexts returns the topics of a bench in the order of the reference.
func topicTexts() (list []topicText) {
	bench := topics.New("PREFIX", "BENCH")
	states := fieldsOf{}
	add := func(topic, meaning string, retained bool, qos int, payload reflect.Type) {
		text := topicText{Topic: strings.TrimPrefix(topic, bench.Root()), Meaning: meaning, Retained: retained, QoS: qos}
		if payload != nil {
			text.Fields = flat(&states, payload, "", nil)
		}
		list = append(list, text)
	}
	add(bench.Availability(), "`online` while the service is connected, `offline` by its will otherwise.", true, 1, nil)
	add(bench.Daemon(), "The run of the service.", true, 1, reflect.TypeFor[mqtt.DaemonPayload]())
	add(bench.Air("ZONE"), "The air of a zone, when it changes.", true, 1, reflect.TypeFor[view.Air]())
	add(bench.Scale("ID"), "What a scale shows, at most five times a second.", true, 0, reflect.TypeFor[mqtt.ScalePayload]())
	add(bench.Sensor("ID"), "The condition of a sensor or a scale.", true, 1, reflect.TypeFor[mqtt.SensorPayload]())
	add(bench.Batch("ID"), "A batch while it is not closed; then the topic is cleared.", true, 1, reflect.TypeFor[view.BatchState]())
	add(bench.Light("ID", topics.FormJSON), "What a light shows.", true, 1, reflect.TypeFor[mqtt.LightPayload]())
	add(bench.Light("ID", topics.FormMeaning), "The meaning of a light as one word.", true, 1, nil)
	add(bench.Light("ID", topics.FormColour), "The colour of a light as one word.", true, 1, nil)
	add(bench.Alarm("NAME", "SUBJECT"), "An alarm while it is not normal; then the topic is cleared.", true, 1, reflect.TypeFor[mqtt.AlarmPayload]())
	add(bench.Event(), "Every event of the journal, in order; see [Events](#events).", false, 1, nil)
	add(bench.Do("VERB"), "A command to the bench; see [Commands](#commands-1) and [Changes](#changes).", false, 1, nil)
	add(bench.Done("VERB"), "The result of a command.", false, 1, reflect.TypeFor[mqtt.Answer]())
	return list
}

// flat returns the rows of a structure with those of the structures in it, their names
// joined by a dot.
func flat(f *fieldsOf, t reflect.Type, prefix string, required []string) (rows []row) {
	for _, r := range f.of(t, required) {
		r.Name = prefix + r.Name
		rows = append(rows, r)
		if inner := innerOf(t, strings.TrimPrefix(r.Name, prefix)); inner != nil {
			rows[len(rows)-1].Type = strings.Replace(r.Type, inner.Name(), "object", 1)
			rows = append(rows, flat(f, inner, r.Name+".", nil)...)
		}
	}
	return rows
}

// innerOf returns the structure that a field with this JSON name holds, nil for none.
func innerOf(t reflect.Type, name string) reflect.Type {
	for _, field := range reflect.VisibleFields(t) {
		if n, _, _ := strings.Cut(field.Tag.Get("json"), ","); n != name {
			continue
		}
		inner := field.Type
		for inner.Kind() == reflect.Pointer || inner.Kind() == reflect.Slice {
			inner = inner.Elem()
		}
		if inner.Kind() == reflect.Struct && inner.PkgPath() != "time" {
			return inner
		}
	}
	return nil
}

// TestEveryTopicIsListed: the reference has every kind of topic.
func TestEveryTopicIsListed(t *testing.T) {
	kinds := map[string]bool{}
	for _, topic := range topicTexts() {
		kind, _, _ := strings.Cut(topic.Topic, "/")
		kinds[kind] = true
	}
	for _, kind := range []string{
		topics.KindAvailability, topics.KindDaemon, topics.KindAir, topics.KindScale, topics.KindBatch, topics.KindLight,
		topics.KindAlarm, topics.KindSensor, topics.KindEvent, topics.KindDo, topics.KindDone,
	} {
		if !kinds[kind] {
			t.Errorf("topic %s is missing", kind)
		}
	}
}
