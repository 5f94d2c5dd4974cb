package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"

	"golang.org/x/sync/errgroup"
)

// runner runs the parts of the service, each in a goroutine of its own. The first part
// that ends before it is stopped ends the run; the parts are then stopped one after
// another, the last one started first.
type runner struct {
	group *errgroup.Group
	ctx   context.Context // done when the run is to end
	log   *slog.Logger
	parts []part // in the order in which they were started
}

// part is a part of the service that runs.
type part struct {
	cancel context.CancelFunc
	ended  <-chan error // its failure, nil when it was stopped
}

// newRunner makes a runner whose run ends with ctx at the latest.
func newRunner(ctx context.Context, log *slog.Logger) *runner {
	r := &runner{log: log}
	r.group, r.ctx = errgroup.WithContext(ctx)
	return r
}

// start runs a part until it is stopped. The part's context outlives the run's: it ends
// when the parts that were started later have ended.
func (r *runner) start(name string, run func(context.Context) error) {
	ctx, cancel := context.WithCancel(context.WithoutCancel(r.ctx))
	ended := make(chan error, 1)
	r.parts = append(r.parts, part{cancel, ended})
	r.group.Go(func() error {
		err := run(ctx)
		switch {
		case err != nil:
			err = fmt.Errorf("%s: %w", name, err)
		case ctx.Err() == nil:
			err = fmt.Errorf("%s: ended without a reason", name)
		}
		if err != nil {
			r.log.Error("a part of the service has failed; the service ends", "part", name, "err", err)
		}
		ended <- err
		return err
	})
}

// ending is closed when the run is to end: its context is done, or a part has failed.
func (r *runner) ending() <-chan struct{} { return r.ctx.Done() }

// stop stops all parts and returns the failures of all that failed.
func (r *runner) stop() error {
	var failed error
	for _, p := range slices.Backward(r.parts) {
		p.cancel()
		failed = errors.Join(failed, <-p.ended)
	}
	_ = r.group.Wait() // its error is the first of these
	return failed
}
