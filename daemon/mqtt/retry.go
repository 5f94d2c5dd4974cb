package mqtt

import (
	"context"
	"math/rand/v2"
	"regexp"
	"time"
)

const (
	firstRetry   = 500 * time.Millisecond
	longestRetry = 15 * time.Second
	// After a connection that lasted this long the next retry is quick again. Resetting
	// the wait at once would make a fast loop with a broker that disconnects us.
	goodConnection = 10 * time.Second
	// ReconnectSpread is the time over which the benches of a plant come back after their broker
	// was restarted: each of a thousand opens several connections.
	ReconnectSpread = 5 * time.Second

	logEvery  = 5 * time.Minute // for causes that were logged before
	maxCauses = 16              // that are remembered
)

// jitter spreads a wait over ±20 %, so that a thousand benches do not connect to their
// broker again at the same moment.
func jitter(d time.Duration) time.Duration {
	return time.Duration(float64(d) * (0.8 + 0.4*rand.Float64()))
}

// spread returns a random part of a duration.
func spread(d time.Duration) time.Duration {
	return time.Duration(float64(d) * rand.Float64())
}

func sleep(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
}

// outage is the time without a connection: which causes of it were logged, and when.
type outage struct {
	failures int
	causes   map[string]struct{}
	logged   time.Time
}

// ownPort is our own end of a socket in an error's text, which is another one each time.
var ownPort = regexp.MustCompile(`[0-9A-Za-z.:\[\]%]+->`)

// failed counts a failure, and reports whether it is to be logged: each cause once, and one of them
// every logEvery.
func (o *outage) failed(err error, now time.Time) bool {
	o.failures++
	cause := ownPort.ReplaceAllString(err.Error(), "")
	_, known := o.causes[cause]
	if !known && len(o.causes) < maxCauses {
		if o.causes == nil {
			o.causes = map[string]struct{}{}
		}
		o.causes[cause] = struct{}{}
	} else if now.Sub(o.logged) < logEvery {
		return false
	}
	o.logged = now
	return true
}
