package daemon

import (
	"context"
	"sync"

	"potlifed/daemon/actor"
	"potlifed/daemon/config"
	"potlifed/daemon/request"
)

// shops holds the configuration in use.
type shops struct {
	mu      sync.Mutex // guards shop
	shop    config.Shop
	changed chan config.Shop // capacity 1: the newest that the instruments have not seen
}

func newShops(first config.Shop) *shops {
	return &shops{shop: first, changed: make(chan config.Shop, 1)}
}

// now returns the configuration in use.
func (s *shops) now() config.Shop {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.shop
}

// put takes in a configuration that takes effect. It is called by the loop alone and does not block.
func (s *shops) put(shop config.Shop) {
	s.mu.Lock()
	s.shop = shop
	s.mu.Unlock()
	select {
	case <-s.changed: // nobody needs an older one
	default:
	}
	s.changed <- shop
}

// reloadOnHangup reloads the configuration with each signal, until ctx is done. A configuration
// that is refused is logged; the one in use stays.
func (s *service) reloadOnHangup(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-s.Hangup:
			reply, err := s.bench.Do(ctx, request.Request{By: actor.Local, Change: request.ReloadConfiguration{}})
			switch {
			case ctx.Err() != nil:
			case err != nil:
				s.Log.Error("the configuration was not reloaded; the one in use stays", "err", err)
			default:
				s.Log.Info("the configuration was reloaded", "answer", string(reply.Body))
			}
		}
	}
}
