package mqtt

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/hex"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"

	server "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// Bounds of what one client may ask of the built-in broker.
const (
	maxClientID = 128 // bytes
	maxFilters  = 64  // subscriptions of a client
	maxFilter   = 256 // bytes
)

// neverValid is a filter that the library refuses.
const neverValid = "#/#"

// guard says who may do what on the built-in broker: the daemon's own clients
// everything, users what they have a right to, guests, where they are let in, read
// everything and publish commands where these are allowed.
//
// What a client may not publish is acknowledged and dropped. MQTT 3.1.1 knows no
// refusal of a publish: a broker acknowledges or closes the connection (3.3.5), and a
// client that is closed upon connects again and sends the same again, without end.
// That is why the check is made where a message is handed on and not in the library's
// OnACLCheck, which closes.
type guard struct {
	server.HookBase
	rights
	name     string // the daemon's own, which no user can have
	password []byte
	users    Users
	log      *slog.Logger
	turns    turns
	// deliver takes commands, with who gave them: the daemon does not read them from the
	// broker, since a message of MQTT 3.1.1 does not say whose it is.
	deliver atomic.Pointer[func(incoming)]
	keeper  *keeper // of retained messages that are not the daemon's

	mu      sync.Mutex
	members map[*server.Client]member
	server  *server.Server
	refused map[string]*refusals // by client
	total   map[string]uint64    // by action
}

func newGuard(s BrokerSettings, log *slog.Logger) *guard {
	secret := make([]byte, 32)
	rand.Read(secret) // never fails
	g := &guard{
		rights: newRights(s), name: clientPrefix + "own:", password: []byte(hex.EncodeToString(secret)),
		users: s.Users, log: log, members: map[*server.Client]member{}, refused: map[string]*refusals{},
		total: map[string]uint64{actionConnect: 0, actionSubscribe: 0, actionPublish: 0, actionWill: 0},
	}
	if g.users == nil {
		g.users = nobody{}
	}
	return g
}

var _ server.Hook = (*guard)(nil)

// ID names the hook in the library's log.
func (g *guard) ID() string { return "guard" }

// Provides lists the hooks that are used.
func (g *guard) Provides(b byte) bool {
	switch b {
	case server.OnConnectAuthenticate, server.OnACLCheck, server.OnPublish, server.OnSessionEstablish, server.OnDisconnect,
		server.OnRetainMessage, server.OnWill, server.OnSubscribe, server.OnSubscribed, server.OnPacketProcessed, server.OnClientExpired:
		return true
	}
	return false
}

// OnConnectAuthenticate lets the daemon in by its secret, a user by his password, and
// a guest where guests may come in, except with one of the daemon's client ids or that
// of another's client, which would put him in its place.
func (g *guard) OnConnectAuthenticate(cl *server.Client, pk packets.Packet) bool {
	m, why := g.admit(string(cl.Properties.Username), pk.Connect.Password)
	switch {
	case why != "":
	case len(cl.ID) > maxClientID:
		why = "connect with an endless id"
	case !m.own && strings.HasPrefix(cl.ID, clientPrefix):
		why = "connect with an id of the daemon"
	case !g.mayTake(cl.ID, m):
		why = "connect with the id of another's client"
	}
	if why != "" {
		g.refuse(cl, actionConnect, why)
		return false
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	g.members[cl] = m
	return true
}

// admit says who somebody is, or why he is not let in.
func (g *guard) admit(name string, password []byte) (m member, why string) {
	if name == g.name {
		if subtle.ConstantTimeCompare(password, g.password) == 1 {
			return member{own: true}, ""
		}
		return m, "connect as the daemon"
	}
	user, known := g.users.Find(name)
	switch {
	case known && user.Is(string(password)):
		return member{user: user}, ""
	case known:
		return m, "connect with a wrong password"
	case g.guests:
		return m, ""
	case name == "":
		return m, "connect without a user"
	}
	return m, "connect as a user whom nobody knows"
}

// mayTake reports whether a client id is free for somebody, or his already. Without
// this a client would inherit what another's is subscribed to.
func (g *guard) mayTake(id string, m member) bool {
	g.mu.Lock()
	s := g.server
	g.mu.Unlock()
	if s == nil {
		return true
	}
	before, there := s.Clients.Get(id)
	if !there {
		return true
	}
	was, known := g.member(before)
	if known && was.own == m.own && was.user.Name == m.user.Name && was.user.Hash == m.user.Hash {
		return true
	}
	if !before.Closed() {
		return false
	}
	g.drop(s, before) // it is away: its session ends
	return true
}

// OnACLCheck says whether a client is handed a message. What it may publish is
// OnPublish's to say.
func (g *guard) OnACLCheck(cl *server.Client, topic string, write bool) bool {
	if write {
		return true
	}
	m, known := g.member(cl)
	return known && g.read(m, topic)
}

// OnPublish acknowledges and drops what may not be published, and hands commands to
// whom they are for.
func (g *guard) OnPublish(cl *server.Client, pk packets.Packet) (packets.Packet, error) {
	m, known := g.member(cl)
	m, still := g.fresh(m)
	why := "nobody may publish who has not come in"
	if known && still {
		why = g.write(m, pk.TopicName)
	}
	_, command := g.verb(pk.TopicName)
	if command = command && known && still && !m.own; command {
		g.command(m, pk.TopicName, pk.Payload, pk.FixedHeader.Retain, why) // answers one that is too long
		pk.FixedHeader.Retain = false                                      // a command is for once
	}
	switch n := len(pk.Payload); {
	case why != "" || m.own:
	case command && n > maxCommandBytes || !command && n > mostReply:
		why = "too long"
	}
	if why != "" {
		g.refuse(cl, actionPublish, "publish "+pk.TopicName+": "+why)
		return pk, packets.CodeSuccessIgnore
	}
	if pk.FixedHeader.Retain {
		g.turns.write(cl)
	}
	return pk, nil
}

// command hands a command to the daemon.
func (g *guard) command(m member, topic string, payload []byte, retained bool, whyNot string) {
	verb, _ := g.verb(topic)
	if deliver := g.deliver.Load(); deliver != nil {
		(*deliver)(incoming{verb: verb, payload: payload, retained: retained, by: m.by(), forbidden: whyNot})
	}
}

// OnSessionEstablish takes a will away that may not be published: the library sends
// wills unasked. The client is let in without it.
func (g *guard) OnSessionEstablish(cl *server.Client, _ packets.Packet) {
	cl.Properties.Will.WillDelayInterval = 0 // a delayed one would miss its turn, see turns
	if cl.Properties.Will.Flag == 0 {
		return
	}
	m, _ := g.member(cl)
	if why := g.write(m, cl.Properties.Will.TopicName); why != "" {
		g.refuse(cl, actionWill, "leave a will on "+cl.Properties.Will.TopicName+": "+why)
		cl.Properties.Will = server.Will{}
	}
}

// OnWill and OnRetainMessage frame the retaining of a will, OnPublish and
// OnRetainMessage that of a message.
func (g *guard) OnWill(cl *server.Client, will server.Will) (server.Will, error) {
	m, _ := g.member(cl)
	if _, ok := g.verb(will.TopicName); ok && !m.own {
		g.command(m, will.TopicName, will.Payload, will.Retain, "")
		will.Retain = false
	}
	if will.Retain {
		g.turns.write(cl)
	}
	return will, nil
}

// OnRetainMessage comes right after a message was retained.
func (g *guard) OnRetainMessage(cl *server.Client, pk packets.Packet, _ int64) {
	g.turns.end(cl)
	if m, known := g.member(cl); known && !m.own && g.keeper != nil {
		g.keeper.keep(pk)
	}
}

// OnSubscribe makes filters invalid that a client may not subscribe to.
//
// It also takes a packet id out of the way that is taken by a message to the same
// client. The two sides number their packets each by itself (MQTT 3.1.1, 2.3.1); the
// library has one list for both and refuses a subscription whose number is in it, such
// as the second one of a client that has not yet acknowledged what the first one
// brought. The message itself has been written.
func (g *guard) OnSubscribe(cl *server.Client, pk packets.Packet) packets.Packet {
	if cl.State.Inflight.Delete(pk.PacketID) {
		cl.State.Inflight.IncreaseSendQuota()
	}
	m, known := g.member(cl)
	if known && m.own {
		return pk
	}
	filters := make(packets.Subscriptions, len(pk.Filters))
	held := cl.State.Subscriptions.Len()
	for i, sub := range pk.Filters {
		what := ""
		switch {
		case !known || !g.read(m, sub.Filter):
			what = "subscribe to " + sub.Filter
		case len(sub.Filter) > maxFilter:
			what = "subscribe to an endless topic"
		case held+i >= maxFilters:
			what = "hold more subscriptions"
		}
		if what != "" {
			g.refuse(cl, actionSubscribe, what)
			sub.Filter = neverValid
		}
		filters[i] = sub
	}
	pk.Filters = filters
	return pk
}

// OnSubscribed comes before the retained messages of a subscription are looked up.
func (g *guard) OnSubscribed(cl *server.Client, _ packets.Packet, _ []byte) { g.turns.read(cl) }

// OnPacketProcessed comes after that.
func (g *guard) OnPacketProcessed(cl *server.Client, _ packets.Packet, _ error) { g.turns.end(cl) }

// OnDisconnect forgets who a connection belonged to, unless its session outlives it.
func (g *guard) OnDisconnect(cl *server.Client, _ error, expire bool) {
	g.turns.end(cl)
	if expire {
		g.forget(cl)
	}
}
