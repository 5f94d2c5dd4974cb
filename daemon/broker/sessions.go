package broker

import (
	"cmp"
	"slices"
	"sync/atomic"

	server "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// maxDisconnectedSessions bounds the sessions that are kept for disconnected clients. Each
// may hold maxInflight messages.
const maxDisconnectedSessions = 32

// OnClientExpired ends the session of a client that was disconnected for too long. The
// library removes the client but not its subscriptions.
func (h *accessHook) OnClientExpired(cl *server.Client) { h.endSession(cl) }

// endSession ends the session of a disconnected client.
func (h *accessHook) endSession(cl *server.Client) {
	h.server.UnsubscribeClient(cl)
	cl.ClearInflights()
	if current, found := h.server.Clients.Get(cl.ID); found && current == cl {
		h.server.Clients.Delete(cl.ID)
	}
	h.forget(cl)
}

// endOldestSessions ends the sessions that have been disconnected for longest, as many as
// exceed maxDisconnectedSessions.
func (h *accessHook) endOldestSessions() {
	var disconnected []*server.Client
	for _, cl := range h.server.Clients.GetAll() {
		if cl.Closed() {
			disconnected = append(disconnected, cl)
		}
	}
	excess := len(disconnected) - maxDisconnectedSessions
	if excess <= 0 {
		return
	}
	slices.SortFunc(disconnected, func(a, b *server.Client) int { return cmp.Compare(a.StopTime(), b.StopTime()) })
	for _, cl := range disconnected[:excess] {
		h.endSession(cl)
	}
	h.log.Warn("built-in broker: ended the oldest sessions of disconnected clients", "count", excess)
}

// disconnectUser ends a client's connection and its session, and discards its will.
func (h *accessHook) disconnectUser(cl *server.Client) {
	atomic.StoreUint32(&cl.Properties.Will.Flag, 0)
	_ = h.server.DisconnectClient(cl, packets.ErrNotAuthorized) // the connection is closed whatever the write returns
	h.endSession(cl)
}
