package broker

import (
	"maps"
	"strings"
	"time"

	server "github.com/mochi-mqtt/server/v2"

	"potlifed/daemon/excerpt"
)

const (
	maxRefusedClients = 256 // for which refusals are counted one by one
	refusalLogEvery   = time.Minute
)

// The actions that a client can be refused, as they are counted.
const (
	actionConnect   = "connect"
	actionSubscribe = "subscribe"
	actionPublish   = "publish"
	actionWill      = "will"
)

// clientRefusals are the refusals of one client.
type clientRefusals struct {
	count  uint64
	logged time.Time
}

// refuse counts a refusal, and logs each client's first one and then one a minute.
func (h *accessHook) refuse(cl *server.Client, action, what string) {
	h.mu.Lock()
	h.total[action]++
	id := excerpt.Short(strings.Clone(cl.ID))
	r, ok := h.refusals[id]
	if !ok && len(h.refusals) >= maxRefusedClients {
		id = "other clients"
		r, ok = h.refusals[id]
	}
	if !ok {
		r = &clientRefusals{}
		h.refusals[id] = r
	}
	r.count++
	count, due := r.count, time.Since(r.logged) >= refusalLogEvery
	if due {
		r.logged = time.Now()
	}
	h.mu.Unlock()
	if due {
		h.log.Warn("built-in broker: refused", "client", id, "user", excerpt.Short(string(cl.Properties.Username)),
			"remote", cl.Net.Remote, "action", action, "what", excerpt.Short(what), "count", count)
	}
}

func (h *accessHook) refusalCounts() map[string]uint64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return maps.Clone(h.total)
}
