package reference

import (
	"reflect"
	"strings"
	"testing"

	"potlifed/daemon/asyncapi"
	"potlifed/daemon/mqtt"
	"potlifed/daemon/topics"
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
	fields := fieldsOf{}
	for _, s := range asyncapi.States() {
		text := topicText{Topic: s.Topic, Meaning: s.Meaning, Retained: s.Retained, QoS: s.QoS}
		if s.Payload != nil {
			text.Fields = flat(&fields, s.Payload, "", nil)
		}
		list = append(list, text)
	}
	bench := topics.New("PREFIX", "BENCH")
	below := func(topic string) string { return strings.TrimPrefix(topic, bench.Root()) }
	return append(list,
		topicText{Topic: below(bench.Event()), Meaning: "Every event of the journal, in order; see [Events](#events).", QoS: 1},
		topicText{Topic: below(bench.Do("{verb}")), Meaning: "A command to the bench; see [Commands](#commands-1) and [Changes](#changes).", QoS: 1},
		topicText{Topic: below(bench.Done("{verb}")), Meaning: "The result of a command.", QoS: 1, Fields: flat(&fields, reflect.TypeFor[mqtt.Answer](), "", nil)},
	)
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
