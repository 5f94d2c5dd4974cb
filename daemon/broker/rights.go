package broker

import (
	"slices"
	"strings"

	"potlifed/daemon/topics"
)

// rights say which topics a principal may read and write.
type rights struct {
	topics   topics.Topics
	guests   bool // clients without a user are accepted
	commands bool // commands are accepted
	lights   map[string]Light
	sensors  []string // topics on which sensors publish
}

func newRights(s Settings) rights {
	r := rights{topics: s.Topics, commands: s.Commands, lights: map[string]Light{}, sensors: s.Sensors}
	for _, l := range s.Lights {
		r.lights[l.ID] = l
	}
	return r
}

// verbOfReports is a command that takes the right to report, which publishing a sensor's values
// takes too.
const verbOfReports = "prints"

// mayNotWrite returns why a principal may not publish on a topic, empty where it may.
func (r rights) mayNotWrite(p principal, topic string) (why string) {
	if p.own {
		return ""
	}
	if verb, ok := r.topics.Verb(topic); ok {
		switch {
		case !r.commands:
			return "commands are not allowed here; mqtt.commands in the configuration allows them"
		case p.user.Name != "" && !p.user.May(verb):
			return "user " + p.user.Name + " has no right to it; potlifed token --mqtt --may gives one"
		}
		return ""
	}
	if slices.Contains(r.sensors, topic) {
		if p.user.Name != "" && !p.user.May(verbOfReports) {
			return "user " + p.user.Name + " has no right to report; potlifed token --mqtt --may report gives one"
		}
		return ""
	}
	for id, light := range r.lights {
		if light.Confirms != "" && light.Confirms == topic && (p.user.Name == "" || slices.Contains(p.user.Lights, id)) {
			return ""
		}
	}
	return "clients may not write this topic"
}

// mayRead reports whether a principal may read a topic or subscribe to a filter.
func (r rights) mayRead(p principal, filter string) bool {
	if p.own || len(p.user.Lights) == 0 {
		return true
	}
	if filter == r.topics.Availability() || filter == r.topics.Daemon() {
		return true
	}
	for _, id := range p.user.Lights {
		light := r.topics.Light(id, topics.FormJSON)
		if filter == light || strings.HasPrefix(filter, light+"/") || filter != "" && filter == r.lights[id].Topic {
			return true
		}
	}
	return false
}

// confirms reports whether a topic is one on which a lamp confirms what it shows, and not
// one of the daemon's.
func (r rights) confirms(topic string) bool {
	if strings.HasPrefix(topic, r.topics.Root()) {
		return false
	}
	for _, light := range r.lights {
		if light.Confirms == topic {
			return true
		}
	}
	return false
}
