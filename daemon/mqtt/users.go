package mqtt

import (
	"slices"
	"strings"

	server "github.com/mochi-mqtt/server/v2"

	"potlifed/daemon/actor"
)

// User is somebody whom the built-in broker knows.
type User struct {
	Name string
	// Hash is of the password. Another one means that it is another user of that name.
	Hash string
	// Is reports whether this is the password.
	Is func(password string) bool
	// May reports whether the user may give a command, by its verb.
	May func(verb string) bool
	// Lights are the lights whose topics the user is restricted to; empty for a user who
	// may read everything.
	Lights []string
}

// Users are who may connect to the built-in broker. Find is called from several
// goroutines, with each connection and each command; what it answers counts at once.
type Users interface {
	Find(name string) (User, bool)
}

// nobody are the users of a broker that has none.
type nobody struct{}

func (nobody) Find(string) (User, bool) { return User{}, false }

// member is who a connection belongs to.
type member struct {
	own  bool // the daemon
	user User // without a name: a guest
}

// by is whom a command of the member is recorded for.
func (m member) by() actor.Name {
	if m.user.Name == "" {
		return actor.MQTT
	}
	return actor.Name(m.user.Name)
}

// rights are what members may read and write, beside the daemon, which may everything.
type rights struct {
	topics Topics
	// guests may come in, and give commands, where commands are given at all.
	guests   bool
	commands bool
	lights   map[string]lampTopics
}

// lampTopics are the topics of a lamp that are not under our own light/ID.
type lampTopics struct{ own, confirms string }

func newRights(s BrokerSettings) rights {
	r := rights{topics: s.Topics, commands: s.Commands, lights: map[string]lampTopics{}}
	for _, l := range s.Lights {
		r.lights[l.ID] = lampTopics{l.Topic, l.Confirms}
	}
	return r
}

// verb returns the verb of a command's topic.
func (r rights) verb(topic string) (verb string, ok bool) {
	verb, ok = strings.CutPrefix(topic, r.topics.Do(""))
	return verb, ok && verb != "" && !strings.Contains(verb, "/")
}

// write says why a member may not publish on a topic, empty when he may.
func (r rights) write(m member, topic string) (whyNot string) {
	if m.own {
		return ""
	}
	if verb, ok := r.verb(topic); ok {
		switch {
		case !r.commands:
			return "commands are not allowed here; mqtt.commands in the configuration allows them"
		case m.user.Name != "" && !m.user.May(verb):
			return "user " + m.user.Name + " has no right to it; potlifed token --mqtt --may gives one"
		}
		return ""
	}
	for id, lamp := range r.lights {
		if lamp.confirms != "" && lamp.confirms == topic && (m.user.Name == "" || slices.Contains(m.user.Lights, id)) {
			return ""
		}
	}
	return "this topic is not for clients to write"
}

// read reports whether a member may read a topic, or subscribe to a filter.
func (r rights) read(m member, filter string) bool {
	if m.own || len(m.user.Lights) == 0 {
		return true
	}
	if filter == r.topics.Availability() || filter == r.topics.Daemon() {
		return true
	}
	for _, id := range m.user.Lights {
		light := r.topics.Light(id, FormJSON)
		if filter == light || strings.HasPrefix(filter, light+"/") || filter != "" && filter == r.lights[id].own {
			return true
		}
	}
	return false
}

// member returns who a connection belongs to. One that nobody has let in is a guest's
// that may do nothing, as is one after its end.
func (g *guard) member(cl *server.Client) (m member, known bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	m, known = g.members[cl]
	return m, known
}

// fresh is a member with the rights of now; false when there is no such user any more.
func (g *guard) fresh(m member) (member, bool) {
	if m.own || m.user.Name == "" {
		return m, true
	}
	user, ok := g.users.Find(m.user.Name)
	if !ok || user.Hash != m.user.Hash {
		return member{}, false
	}
	m.user = user
	return m, true
}

// look shows out the clients of users that were revoked, gives the others the rights of
// now, and forgets connections that are no more.
func (g *guard) look(s *server.Server) {
	g.mu.Lock()
	members := make(map[*server.Client]member, len(g.members))
	for cl, m := range g.members {
		members[cl] = m
	}
	g.mu.Unlock()
	for cl, was := range members {
		if now, there := s.Clients.Get(cl.ID); cl.Closed() && (!there || now != cl) {
			g.forget(cl)
			continue
		}
		is, ok := g.fresh(was)
		if !ok {
			g.refuse(cl, actionConnect, "stay as "+was.user.Name+", who is no user any more")
			g.showOut(s, cl)
			continue
		}
		g.mu.Lock()
		if _, still := g.members[cl]; still {
			g.members[cl] = is
		}
		g.mu.Unlock()
	}
	g.dropAway(s)
}

func (g *guard) forget(cl *server.Client) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.members, cl)
}

// begin makes the guard one of a broker that starts.
func (g *guard) begin(s *server.Server) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.server = s
	clear(g.members)
}
