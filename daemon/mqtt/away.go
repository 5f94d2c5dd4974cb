package mqtt

import (
	"cmp"
	"slices"
	"sync/atomic"

	server "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// mostAway is how many sessions of clients that are away are kept. Each may hold
// maxInflight messages.
const mostAway = 32

// OnClientExpired ends the session of a client that was away for too long. The library
// forgets the client and leaves its subscriptions.
func (g *guard) OnClientExpired(cl *server.Client) {
	g.mu.Lock()
	s := g.server
	g.mu.Unlock()
	if s != nil {
		g.drop(s, cl)
	}
}

// drop ends the session of a client that is away.
func (g *guard) drop(s *server.Server, cl *server.Client) {
	s.UnsubscribeClient(cl)
	cl.ClearInflights()
	if now, there := s.Clients.Get(cl.ID); there && now == cl {
		s.Clients.Delete(cl.ID)
	}
	g.forget(cl)
}

// dropAway ends the oldest sessions of clients that are away, where there are too many.
func (g *guard) dropAway(s *server.Server) {
	var away []*server.Client
	for _, cl := range s.Clients.GetAll() {
		if cl.Closed() {
			away = append(away, cl)
		}
	}
	if len(away) <= mostAway {
		return
	}
	slices.SortFunc(away, func(a, b *server.Client) int { return cmp.Compare(a.StopTime(), b.StopTime()) })
	for _, cl := range away[:len(away)-mostAway] {
		g.drop(s, cl)
	}
	g.log.Warn("built-in broker: sessions of clients that are away were ended", "count", len(away)-mostAway)
}

// showOut ends a client's connection and its session, and takes its will.
func (g *guard) showOut(s *server.Server, cl *server.Client) {
	atomic.StoreUint32(&cl.Properties.Will.Flag, 0)
	_ = s.DisconnectClient(cl, packets.ErrNotAuthorized) // it is closed whatever the write says
	g.drop(s, cl)
}
