package mqtt

import (
	"maps"
	"strings"
	"time"

	server "github.com/mochi-mqtt/server/v2"
)

// mostRefusers bounds what the guard remembers of clients.
const mostRefusers = 256

// The actions that a client can be refused, as they are counted.
const (
	actionConnect   = "connect"
	actionSubscribe = "subscribe"
	actionPublish   = "publish"
	actionWill      = "will"
)

// refusals are those of one client.
type refusals struct {
	count  uint64
	logged time.Time
}

// refuse counts, and logs each client's first refusal and then one a minute.
func (g *guard) refuse(cl *server.Client, action, what string) {
	g.mu.Lock()
	g.total[action]++
	id := shortened(strings.Clone(cl.ID))
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
		g.log.Warn("broker: refused", "client", id, "user", shortened(string(cl.Properties.Username)),
			"remote", cl.Net.Remote, "action", action, "what", shortened(what), "count", count)
	}
}

func (g *guard) refusals() map[string]uint64 {
	g.mu.Lock()
	defer g.mu.Unlock()
	return maps.Clone(g.total)
}
