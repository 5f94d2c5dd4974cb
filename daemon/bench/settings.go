package bench

import (
	"context"
	"log/slog"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/journal"
	"potlifed/daemon/record"
)

// Journal is what the loop needs of a journal: groups are written in the order they
// were sent, and each is answered. Acks is closed when no group will be answered any more.
// Groups has room for one, and the next is sent only
// once the last was answered, so that sending never blocks.
type Journal interface {
	ID() string
	Load(ctx context.Context) (record.State, error)
	Groups() chan<- journal.Group
	Acks() <-chan error
}

// Settings are what a bench is made of.
type Settings struct {
	Shop    config.Shop
	Version string
	Clock   clock.Clock
	Journal Journal
	Log     *slog.Logger
	// Outlet says how publishing stands. It must not block.
	Outlet func() Outlet
}

// Outlet is how publishing stands.
type Outlet struct {
	Away          string // why nothing can be published just now, empty when it can
	Dropped       string // topics whose messages the broker drops, and what to do; empty for none
	Waiting       int    // messages that the broker does not have
	OtherInstance string // a duplicate instance of the program for this bench, empty for none
}
