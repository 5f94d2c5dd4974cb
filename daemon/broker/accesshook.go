package broker

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

	"potlifed/daemon/actor"
	"potlifed/daemon/topics"
)

// Limits of what one client may ask for.
const (
	maxClientID = 128 // bytes
	maxFilters  = 64  // subscriptions of a client
	maxFilter   = 256 // bytes
)

// invalidFilter is a filter that the library refuses.
const invalidFilter = "#/#"

// Command is a command that a client gave.
type Command struct {
	Verb     string
	Payload  []byte
	Retained bool
	By       actor.Name // the user who gave it; empty for a guest
	Denied   string     // why the user may not give it, empty where they may
}

// accessHook decides who may do what. The daemon's own clients may do everything. Users may
// do what their rights allow. Guests, where they are accepted, may read everything, and may
// publish commands where the broker accepts commands.
//
// A message that a client may not publish is acknowledged and dropped. MQTT 3.1.1 has no
// refusal of a publish: a broker acknowledges it or closes the connection (3.3.5), and a
// client whose connection is closed connects again and sends the same again, without end.
// For that reason the check is made where a message is passed on and not in the library's
// OnACLCheck, which closes the connection.
type accessHook struct {
	server.HookBase
	rights
	ownName, ownPassword string // of the daemon's own clients; no user can have the name
	users                Users
	log                  *slog.Logger
	server               *server.Server
	retainLock           retainLock
	deliver              atomic.Pointer[func(Command)] // see [Broker.OnCommand]
	retained             *retainedMessages             // of others than the daemon

	mu       sync.Mutex
	owners   map[*server.Client]principal // who a connection belongs to
	refusals map[string]*clientRefusals   // by client id
	total    map[string]uint64            // refusals by action
}

func newAccessHook(s Settings, of *server.Server, log *slog.Logger) *accessHook {
	h := &accessHook{
		rights: newRights(s), ownName: topics.ClientPrefix + "own:", ownPassword: s.Password, users: s.Users, log: log, server: of,
		owners: map[*server.Client]principal{}, refusals: map[string]*clientRefusals{},
		total: map[string]uint64{actionConnect: 0, actionSubscribe: 0, actionPublish: 0, actionWill: 0},
	}
	if h.ownPassword == "" {
		secret := make([]byte, 32)
		rand.Read(secret) // never fails
		h.ownPassword = hex.EncodeToString(secret)
	}
	if h.users == nil {
		h.users = noUsers{}
	}
	return h
}

var _ server.Hook = (*accessHook)(nil)

// ID returns the name of the hook in the library's log.
func (h *accessHook) ID() string { return "access" }

// Provides reports whether a hook of the library is implemented.
func (h *accessHook) Provides(b byte) bool {
	switch b {
	case server.OnConnectAuthenticate, server.OnACLCheck, server.OnPublish, server.OnSessionEstablish, server.OnDisconnect,
		server.OnRetainMessage, server.OnWill, server.OnSubscribe, server.OnSubscribed, server.OnPacketProcessed, server.OnClientExpired:
		return true
	}
	return false
}

// OnConnectAuthenticate reports whether a client may connect. It accepts the daemon by its
// secret, a user by their password, and a guest where guests are accepted. It refuses a
// client id of the daemon or of another user's client, whose session the library would
// otherwise hand over.
func (h *accessHook) OnConnectAuthenticate(cl *server.Client, pk packets.Packet) bool {
	p, why := h.authenticate(string(cl.Properties.Username), pk.Connect.Password)
	switch {
	case why != "":
	case len(cl.ID) > maxClientID:
		why = "connect with a client id that is too long"
	case !p.own && strings.HasPrefix(cl.ID, topics.ClientPrefix):
		why = "connect with a client id of the daemon"
	case !h.mayUseClientID(cl.ID, p):
		why = "connect with the client id of another user"
	}
	if why != "" {
		h.refuse(cl, actionConnect, why)
		return false
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.owners[cl] = p
	return true
}

// authenticate returns who a client is, or why it may not connect.
func (h *accessHook) authenticate(name string, password []byte) (p principal, why string) {
	if name == h.ownName {
		if subtle.ConstantTimeCompare(password, []byte(h.ownPassword)) == 1 {
			return principal{own: true}, ""
		}
		return p, "connect as the daemon"
	}
	user, known := h.users.Find(name)
	switch {
	case known && user.Is(string(password)):
		return principal{user: user}, ""
	case known:
		return p, "connect with a wrong password"
	case h.guests:
		return p, ""
	case name == "":
		return p, "connect without a user"
	}
	return p, "connect as an unknown user"
}

// mayUseClientID reports whether a client id is unused or belongs to the same user. Without
// this check a client would inherit the subscriptions of another user's client.
func (h *accessHook) mayUseClientID(id string, p principal) bool {
	existing, found := h.server.Clients.Get(id)
	if !found {
		return true
	}
	owner, known := h.owner(existing)
	if known && owner.same(p) {
		return true
	}
	if !existing.Closed() {
		return false
	}
	h.endSession(existing) // it is disconnected: the new owner gets a new session
	return true
}

// OnACLCheck reports whether a client may receive a message. Whether it may publish one is
// decided in OnPublish.
func (h *accessHook) OnACLCheck(cl *server.Client, topic string, write bool) bool {
	if write {
		return true
	}
	p, known := h.owner(cl)
	return known && h.mayRead(p, topic)
}

// OnPublish drops what the client may not publish, which the library then acknowledges, and
// delivers commands to the daemon.
func (h *accessHook) OnPublish(cl *server.Client, pk packets.Packet) (packets.Packet, error) {
	p, known := h.owner(cl)
	p, valid := h.refresh(p)
	why := "publish before authentication"
	if known && valid {
		why = h.mayNotWrite(p, pk.TopicName)
	}
	_, command := h.topics.Verb(pk.TopicName)
	if command = command && known && valid && !p.own; command {
		h.command(p, pk.TopicName, pk.Payload, pk.FixedHeader.Retain, why) // answers one that is too long
		pk.FixedHeader.Retain = false                                      // a command must not be repeated later
	}
	switch n := len(pk.Payload); {
	case why != "" || p.own:
	case command && n > topics.MaxCommandBytes || !command && n > topics.MaxReplyBytes:
		why = "too long"
	}
	if why != "" {
		h.refuse(cl, actionPublish, "publish "+pk.TopicName+": "+why)
		return pk, packets.CodeSuccessIgnore
	}
	if pk.FixedHeader.Retain {
		h.retainLock.lockForWrite(cl)
	}
	return pk, nil
}

// command delivers a command to the daemon.
func (h *accessHook) command(p principal, topic string, payload []byte, retained bool, denied string) {
	verb, _ := h.topics.Verb(topic)
	if deliver := h.deliver.Load(); deliver != nil {
		(*deliver)(Command{Verb: verb, Payload: payload, Retained: retained, By: actor.Name(p.user.Name), Denied: denied})
	}
}

// OnSessionEstablish removes a will that the client may not publish: the library publishes
// wills without a check. The client stays connected without it.
func (h *accessHook) OnSessionEstablish(cl *server.Client, _ packets.Packet) {
	cl.Properties.Will.WillDelayInterval = 0 // a delayed will would be retained without the retainLock
	if cl.Properties.Will.Flag == 0 {
		return
	}
	p, _ := h.owner(cl)
	if why := h.mayNotWrite(p, cl.Properties.Will.TopicName); why != "" {
		h.refuse(cl, actionWill, "leave a will on "+cl.Properties.Will.TopicName+": "+why)
		cl.Properties.Will = server.Will{}
	}
}

// OnWill delivers a will that is a command, and locks the retained messages before another
// will is retained; OnRetainMessage unlocks them, as after OnPublish. A will that the client may not
// publish any more is replaced by one without a topic, which the library sends to nobody.
func (h *accessHook) OnWill(cl *server.Client, will server.Will) (server.Will, error) {
	p, known := h.owner(cl)
	p, valid := h.refresh(p)
	why := "revoked"
	if known && valid {
		why = h.mayNotWrite(p, will.TopicName)
	}
	if why != "" {
		h.refuse(cl, actionWill, "leave a will on "+will.TopicName+": "+why)
		return server.Will{}, nil
	}
	if _, ok := h.topics.Verb(will.TopicName); ok && !p.own {
		h.command(p, will.TopicName, will.Payload, will.Retain, "")
		will.Retain = false
	}
	if will.Retain {
		h.retainLock.lockForWrite(cl)
	}
	return will, nil
}

// OnRetainMessage is called right after a message was retained.
func (h *accessHook) OnRetainMessage(cl *server.Client, pk packets.Packet, _ int64) {
	h.retainLock.unlock(cl)
	if p, known := h.owner(cl); known && !p.own && h.retained != nil {
		h.retained.changed(pk)
	}
}

// OnSubscribe replaces filters that a client may not subscribe to by an invalid one, which
// the library refuses.
//
// It also frees the packet id if a message to the same client uses it. The two sides number
// their packets independently (MQTT 3.1.1, 2.3.1); the library has one list for both and
// refuses a subscription whose number is in it, such as the second one of a client that has
// not yet acknowledged the messages of the first one. The message itself has been written.
func (h *accessHook) OnSubscribe(cl *server.Client, pk packets.Packet) packets.Packet {
	if cl.State.Inflight.Delete(pk.PacketID) {
		cl.State.Inflight.IncreaseSendQuota()
	}
	p, known := h.owner(cl)
	if known && p.own {
		return pk
	}
	filters := make(packets.Subscriptions, len(pk.Filters))
	existing := cl.State.Subscriptions.Len()
	for i, sub := range pk.Filters {
		refused := ""
		switch {
		case !known || !h.mayRead(p, sub.Filter):
			refused = "subscribe to " + sub.Filter
		case len(sub.Filter) > maxFilter:
			refused = "subscribe to a filter that is too long"
		case existing+i >= maxFilters:
			refused = "have more subscriptions"
		}
		if refused != "" {
			h.refuse(cl, actionSubscribe, refused)
			sub.Filter = invalidFilter
		}
		filters[i] = sub
	}
	pk.Filters = filters
	return pk
}

// OnSubscribed is called before the library looks up the retained messages of a
// subscription, OnPacketProcessed after that.
func (h *accessHook) OnSubscribed(cl *server.Client, _ packets.Packet, _ []byte) {
	h.retainLock.lockForRead(cl)
}

// OnPacketProcessed unlocks the retained messages; see OnSubscribed.
func (h *accessHook) OnPacketProcessed(cl *server.Client, _ packets.Packet, _ error) {
	h.retainLock.unlock(cl)
}

// OnDisconnect forgets the owner of a connection, unless its session is kept.
func (h *accessHook) OnDisconnect(cl *server.Client, _ error, expire bool) {
	h.retainLock.unlock(cl)
	if expire {
		h.forget(cl)
	}
}
