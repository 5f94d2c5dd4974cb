package mqtt

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/hex"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	server "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// mostRefusers bounds what the guard remembers of clients.
const mostRefusers = 256

// guard says who may do what on the built-in broker: the daemon's own clients
// everything, everybody else read everything and publish commands where these are
// allowed.
//
// What a guest may not publish is acknowledged and dropped. MQTT 3.1.1 knows no
// refusal of a publish: a broker acknowledges or closes the connection (3.3.5), and a
// client that is closed upon connects again and sends the same again, without end.
// That is why the check is made where a message is handed on and not in the library's
// OnACLCheck, which closes.
type guard struct {
	server.HookBase
	user     string
	password []byte
	do       string // commands begin so; empty where they are not allowed
	log      *slog.Logger
	turns    turns
	answers  atomic.Pointer[map[string]bool] // topics on which lamps report back

	mu      sync.Mutex
	refused map[string]*refusals // by client
	total   uint64
}

type refusals struct {
	count  uint64
	logged time.Time
}

func newGuard(topics Topics, commands bool, log *slog.Logger) *guard {
	secret := make([]byte, 32)
	rand.Read(secret) // never fails
	g := &guard{
		user: clientPrefix + "own", password: []byte(hex.EncodeToString(secret)), log: log,
		refused: map[string]*refusals{},
	}
	if commands {
		g.do = topics.Do("")
	}
	return g
}

var _ server.Hook = (*guard)(nil)

// ID names the hook in the library's log.
func (g *guard) ID() string { return "guard" }

// Provides lists the hooks that are used.
func (g *guard) Provides(b byte) bool {
	switch b {
	case server.OnConnectAuthenticate, server.OnACLCheck, server.OnPublish, server.OnSessionEstablish,
		server.OnRetainMessage, server.OnWill, server.OnSubscribe, server.OnSubscribed, server.OnPacketProcessed:
		return true
	}
	return false
}

// OnConnectAuthenticate lets the daemon in by its secret and everybody else as a
// guest, except under the daemon's name or with one of its client ids, which would put
// the guest in its place.
func (g *guard) OnConnectAuthenticate(cl *server.Client, pk packets.Packet) bool {
	if g.own(cl) {
		if subtle.ConstantTimeCompare(pk.Connect.Password, g.password) == 1 {
			return true
		}
		g.refuse(cl, "connect as the daemon")
		return false
	}
	if strings.HasPrefix(cl.ID, clientPrefix) {
		g.refuse(cl, "connect with an id of the daemon")
		return false
	}
	return true
}

// own reports a client that authenticated, or is about to, as the daemon.
func (g *guard) own(cl *server.Client) bool { return string(cl.Properties.Username) == g.user }

// OnACLCheck leaves the decision on messages to OnPublish.
func (g *guard) OnACLCheck(*server.Client, string, bool) bool { return true }

func (g *guard) mayPublish(cl *server.Client, topic string) bool {
	if g.own(cl) || g.mayAnswer(topic) {
		return true
	}
	verb, ok := strings.CutPrefix(topic, g.do)
	return ok && g.do != "" && verb != "" && !strings.Contains(verb, "/")
}

// OnPublish acknowledges and drops what may not be published.
func (g *guard) OnPublish(cl *server.Client, pk packets.Packet) (packets.Packet, error) {
	if g.mayPublish(cl, pk.TopicName) {
		if pk.FixedHeader.Retain {
			g.turns.write(cl)
		}
		return pk, nil
	}
	g.refuse(cl, "publish "+pk.TopicName)
	return pk, packets.CodeSuccessIgnore
}

// OnSessionEstablish takes a will away that may not be published: the library sends
// wills unasked. The client is let in without it.
func (g *guard) OnSessionEstablish(cl *server.Client, _ packets.Packet) {
	cl.Properties.Will.WillDelayInterval = 0 // a delayed one would miss its turn, see turns
	if cl.Properties.Will.Flag == 0 || g.mayPublish(cl, cl.Properties.Will.TopicName) {
		return
	}
	g.refuse(cl, "leave a will on "+cl.Properties.Will.TopicName)
	cl.Properties.Will = server.Will{}
}

// OnWill and OnRetainMessage frame the retaining of a will, OnPublish and
// OnRetainMessage that of a message.
func (g *guard) OnWill(cl *server.Client, will server.Will) (server.Will, error) {
	if will.Retain {
		g.turns.write(cl)
	}
	return will, nil
}

// OnRetainMessage comes right after a message was retained.
func (g *guard) OnRetainMessage(cl *server.Client, _ packets.Packet, _ int64) { g.turns.end(cl) }

// OnSubscribe takes a packet id out of the way that is taken by a message to the same
// client. The two sides number their packets each by itself (MQTT 3.1.1, 2.3.1); the
// library has one list for both and refuses a subscription whose number is in it, such
// as the second one of a client that has not yet acknowledged what the first one
// brought. The message itself has been written.
func (g *guard) OnSubscribe(cl *server.Client, pk packets.Packet) packets.Packet {
	if cl.State.Inflight.Delete(pk.PacketID) {
		cl.State.Inflight.IncreaseSendQuota()
	}
	return pk
}

// OnSubscribed comes before the retained messages of a subscription are looked up.
func (g *guard) OnSubscribed(cl *server.Client, _ packets.Packet, _ []byte) { g.turns.read(cl) }

// OnPacketProcessed comes after that.
func (g *guard) OnPacketProcessed(cl *server.Client, _ packets.Packet, _ error) { g.turns.end(cl) }

// refuse counts, and logs each client's first refusal and then one a minute.
func (g *guard) refuse(cl *server.Client, what string) {
	g.mu.Lock()
	g.total++
	id := cl.ID
	r, ok := g.refused[id]
	if !ok && len(g.refused) >= mostRefusers {
		id = "others"
		r, ok = g.refused[id]
	}
	if !ok {
		r = &refusals{}
		g.refused[id] = r
	}
	r.count++
	count, speak := r.count, time.Since(r.logged) >= time.Minute
	if speak {
		r.logged = time.Now()
	}
	g.mu.Unlock()
	if speak {
		g.log.Warn("broker: refused", "client", id, "remote", cl.Net.Remote, "what", what, "count", count)
	}
}

func (g *guard) refusals() uint64 {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.total
}
