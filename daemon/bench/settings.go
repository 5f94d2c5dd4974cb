package bench

import (
	"context"
	"log/slog"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/journal"
	"potlifed/daemon/record"
)

// Journal is the journal as the loop uses it. It writes the groups in the order in which they
// are sent, and sends the result of each on Acks: nil or the error. Acks is closed when no more
// groups will be written. Groups is a channel with a buffer of one. The loop sends the next group
// only after the result of the last, so that sending never blocks.
type Journal interface {
	ID() string
	Load(ctx context.Context) (record.State, error)
	Groups() chan<- journal.Group
	Acks() <-chan error
	// Answers calls each for the answers to changes with keys since a time, oldest first, at
	// most the given number of the newest.
	Answers(ctx context.Context, since time.Time, most int, each func(seq uint64, a record.Answer)) error
	// Event returns the event of a number.
	Event(ctx context.Context, seq uint64) (record.Record, error)
	// Rebuilt says what was lost of a journal that was made from a damaged one, nil of any other.
	Rebuilt() *journal.Rebuilt
}

// Settings are what a bench is made of.
type Settings struct {
	Shop    config.Shop
	Version string
	Clock   clock.Clock
	Journal Journal
	Log     *slog.Logger
	// ReadShop reads the configuration; nil where there is none to read. It is called from
	// the goroutine that asks for it.
	ReadShop func() (config.Shop, error)
	// Reconfigured, if not nil, receives each configuration that takes effect. It must not block.
	Reconfigured func(config.Shop)
	// Publishing returns the present state of publishing. It must not block.
	Publishing func() Publishing
}

// Publishing is the state of publishing, and of the files that the service looks at.
type Publishing struct {
	Fault         string // why nothing can be published at present, empty if it can
	Dropped       string // topics whose messages the broker drops, and what to do; empty for none
	Foreign       string // own topics on which other clients published, and what to do; empty for none
	Waiting       int    // messages that the broker does not have
	OtherInstance string // a duplicate instance of the program for this bench, empty for none
	Plant         string // why the plant's broker does not get all messages, empty where it does or where there is none
	PlantWaiting  int    // messages that the plant's broker does not have
	Certificate   CertificateEnd
	Free          *int64 // room on the disk of the bench's data in bytes, nil where it is not known
}

// CertificateEnd is the certificate of the configuration that ends first; At is zero where there is none.
type CertificateEnd struct {
	Key  string // of the configuration
	File string
	At   time.Time
}
