package mqtt

import (
	"strings"
	"time"

	"potlifed/daemon/topics"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
)

// Home-automation hubs find what they may show by retained messages PREFIX/COMPONENT/NODE/OBJECT/config, each with
// where its state is published. An empty message takes it away.

// Entity is the payload of such a message. Its keys are those of the form that hubs read.
type Entity struct {
	Name            string `json:"name" doc:"the entity, for people"`
	UniqueID        string `json:"unique_id" doc:"the same for as long as the entity exists"`
	StateTopic      string `json:"state_topic" doc:"where its state is published"`
	ValueTemplate   string `json:"value_template" doc:"how the hub takes the state from the payload"`
	AttributesTopic string `json:"json_attributes_topic" doc:"where the rest of the payload comes from; the topic of the state"`
	// AvailabilityTopic has the usual payloads of availability.
	AvailabilityTopic string `json:"availability_topic" doc:"says online and offline"`
	DeviceClass       string `json:"device_class,omitempty" doc:"temperature, humidity, timestamp or problem"`
	StateClass        string `json:"state_class,omitempty" doc:"measurement, for what is measured"`
	Unit              string `json:"unit_of_measurement,omitempty" doc:"°C or %"`
	ExpireAfterS      int    `json:"expire_after,omitempty" doc:"seconds without a message after which the state is unknown"`
	Device            Device `json:"device" doc:"the bench"`
	Origin            Origin `json:"origin" doc:"the program that announces it"`
}

// Device is the bench that an entity belongs to.
type Device struct {
	Identifiers []string `json:"identifiers" doc:"of the bench, below this broker"`
	Name        string   `json:"name" doc:"the bench"`
	SWVersion   string   `json:"sw_version" doc:"version of potlifed"`
}

// Origin is the program that published an entity.
type Origin struct {
	Name      string `json:"name" doc:"potlifed"`
	SWVersion string `json:"sw_version" doc:"its version"`
}

const (
	airExpires = 3 * allEvery // the state of air is sent at least as often as allEvery
	sensorKind = "sensor"
)

// discovery decides which entities there are. It is used by the states alone.
type discovery struct {
	prefix, node string
	topics       topics.Topics
	bench        string
	lights       []string
	locale       words.Locale
	entities     sentStates[struct{}] // by COMPONENT/OBJECT
}

// newDiscovery returns the discovery that the settings ask for, nil for none.
func newDiscovery(s Settings, t topics.Topics) *discovery {
	if s.Discovery == "" || s.Plant {
		return nil
	}
	d := &discovery{prefix: s.Discovery, node: objectID("potlifed_" + s.Prefix + "_" + s.Bench), topics: t, bench: s.Bench, locale: s.Locale}
	for _, l := range s.Lights {
		for _, form := range l.Reads {
			if form == topics.FormJSON {
				d.lights = append(d.lights, l.ID)
			}
		}
	}
	d.entities = newSentStates[struct{}](func(id string) string {
		component, object, _ := strings.Cut(id, "/")
		return d.prefix + "/" + component + "/" + d.node + "/" + object + "/config"
	})
	return d
}

// filter is that of all its topics; empty for none.
func (d *discovery) filter() string {
	if d == nil {
		return ""
	}
	return d.prefix + "/+/" + d.node + "/+/config"
}

// split returns the id of an entity from its topic.
func (d *discovery) split(topic string) (id string, ok bool) {
	if d == nil {
		return "", false
	}
	rest, below := strings.CutPrefix(topic, d.prefix+"/")
	component, rest, _ := strings.Cut(rest, "/")
	object, ours := strings.CutPrefix(rest, d.node+"/")
	object, config := strings.CutSuffix(object, "/config")
	return component + "/" + object, below && ours && config
}

// objectID replaces what such an id may not have.
func objectID(text string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return '_'
	}, text)
}

func (s *states) discoveryDue(snap *view.Snapshot) {
	d := s.discovery
	if d == nil {
		return
	}
	d.entities.round++
	for _, id := range d.lights {
		s.entity(snap, sensorKind, "light_"+id, func() Entity {
			return Entity{
				Name: d.locale.Say("discovery.light", "light", id), StateTopic: d.topics.Light(id, topics.FormJSON), ValueTemplate: "{{ value_json.meaning }}",
				ExpireAfterS: int(view.LightValidFor / time.Second),
			}
		})
	}
	for _, a := range snap.Air {
		air := func(key, name, class, unit string) func() Entity {
			return func() Entity {
				return Entity{
					Name: name, StateTopic: d.topics.Air(a.Zone), ValueTemplate: "{{ value_json." + key + " | default(none) }}",
					DeviceClass: class, StateClass: "measurement", Unit: unit, ExpireAfterS: int(airExpires / time.Second),
				}
			}
		}
		s.entity(snap, sensorKind, "temperature_"+a.Zone, air("temperature_c", d.locale.Say("discovery.temperature", "zone", a.Zone), "temperature", "°C"))
		s.entity(snap, sensorKind, "humidity_"+a.Zone, air("humidity_pct", d.locale.Say("discovery.humidity", "zone", a.Zone), "humidity", "%"))
	}
	for i := range snap.Batches {
		id := snap.Batches[i].ID
		s.entity(snap, sensorKind, "batch_"+id, func() Entity {
			return Entity{
				Name: d.locale.Say("discovery.batch", "batch", id), StateTopic: d.topics.Batch(id), DeviceClass: "timestamp",
				ValueTemplate: "{{ value_json.ends_at.low if value_json.ends_at else none }}", ExpireAfterS: int(airExpires / time.Second),
			}
		})
	}
	for _, a := range snap.Alarms {
		s.entity(snap, "binary_sensor", "alarm_"+a.Name+"_"+a.Subject, func() Entity {
			return Entity{
				Name: a.Title + ": " + a.Subject, StateTopic: d.topics.Alarm(a.Name, a.Subject), DeviceClass: "problem",
				ValueTemplate: "{{ 'ON' if value_json.state in ['unacknowledged', 'acknowledged'] else 'OFF' }}",
			}
		})
	}
	d.entities.ended(func(id string, last *lastSent[struct{}]) {
		s.add(last.topic, 1, nil, func() { delete(d.entities.byID, id) })
	})
}

// entity makes an entity due that the broker does not have. Its payload is made then only.
func (s *states) entity(snap *view.Snapshot, component, object string, of func() Entity) {
	d := s.discovery
	object = objectID(object)
	last := d.entities.get(component + "/" + object)
	if last.sent && last.at != never {
		return
	}
	e := of()
	e.UniqueID = d.node + "_" + object
	e.AttributesTopic, e.AvailabilityTopic = e.StateTopic, d.topics.Availability()
	e.Device, e.Origin = Device{[]string{d.node}, d.bench, snap.Version}, Origin{"potlifed", snap.Version}
	s.add(last.topic, 1, e, func() { last.sent, last.at = true, 0 })
}
