package can

import (
	"cmp"
	"math"
	"slices"
	"time"

	"potlifed/model/message"
	"potlifed/model/mix"
)

// stirAfter is how long a can of ink may stand before it must be stirred to the bottom
// again: heavy pigments settle (common practice, no source).
const stirAfter = 3 * 24 * time.Hour

// Rules are what cans are judged by at one moment.
type Rules struct {
	// Now is in the time zone whose calendar the cans' dates are of.
	Now time.Time
	// ClockSet reports whether the clock is set. While it is not, today's date is not
	// known, and nobody can tell whether a last day is over.
	ClockSet bool
	// UseWithinOpened is how long a hardener may be used after its can was opened, by the
	// hardener's id. A hardener without an entry has no such limit.
	UseWithinOpened map[string]time.Duration
}

// lastDay returns the last date on which a can may be used, empty if it has none. It is
// the earlier of the use-by date and, for a hardener with a known date of opening, the
// end of the time for which it may be used once open. Parts of a day are dropped.
func (r Rules) lastDay(c *Can) string {
	last := c.UseBy
	opened, err := time.Parse(time.DateOnly, c.OpenedOn)
	within := r.UseWithinOpened[c.Material]
	if c.Part != mix.Hardener || err != nil || within == 0 {
		return last
	}
	if day := opened.Add(within).Format(time.DateOnly); last == "" || day < last {
		last = day
	}
	return last
}

// Verdict says what speaks against pouring from a can.
type Verdict struct {
	Can     *Can
	LastDay string // a date; empty if the can has none
	Expired bool   // today is after LastDay
	// ExpiryNotKnown: the can has a last day, and the clock is not set.
	ExpiryNotKnown bool
	NeverStirred   bool
	// Stood is for how long the can was neither stirred nor poured from, if that is longer
	// than [stirAfter]; else 0.
	Stood time.Duration
	// StoodUnknown: the can may have stood for longer than the clocks say.
	StoodUnknown bool
}

// Judge returns the verdict on a can. Only ink settles, so that only a can of ink needs a
// stir; stirring air into hardener or thinner would do harm.
func (r Rules) Judge(c *Can) Verdict {
	v := Verdict{Can: c, LastDay: r.lastDay(c)}
	if v.LastDay != "" {
		v.ExpiryNotKnown = !r.ClockSet
		v.Expired = r.ClockSet && Date(r.Now) > v.LastDay
	}
	if c.Part != mix.Ink {
		return v
	}
	v.NeverStirred = c.StirredAt.IsZero()
	if stood := r.Now.Sub(c.handledAt()); !v.NeverStirred && stood > stirAfter {
		v.Stood = stood
	}
	v.StoodUnknown = !v.NeverStirred && c.Doubt
	return v
}

// NeedsReason reports whether a person must give a reason to pour from the can. That is
// so for a hardener that is past its last day, or may be: age spoils it unseen. An old
// ink only gets a warning.
func (v Verdict) NeedsReason() bool {
	return v.Can.Part == mix.Hardener && (v.Expired || v.ExpiryNotKnown)
}

// Expiry returns a message if the can is past its last day, or if that cannot be known because
// the clock is not set. Otherwise its key is empty.
func (v Verdict) Expiry() message.Message {
	switch {
	case v.Expired:
		return message.New("can-expired", "part", v.Can.Part, "can", v.Can.ID, "last_on", v.LastDay)
	case v.ExpiryNotKnown:
		return message.New("can-expiry-not-known", "part", v.Can.Part, "can", v.Can.ID, "last_on", v.LastDay)
	}
	return message.Message{}
}

// Stir returns why the can must be stirred first. The key of the message is empty if it need not be.
func (v Verdict) Stir() message.Message {
	switch {
	case v.NeverStirred:
		return message.New("can-never-stirred")
	case v.Stood > 0:
		return message.New("can-has-stood", "n", int(math.Round(v.Stood.Hours()/24)))
	case v.StoodUnknown:
		return message.New("can-stood-unknown")
	}
	return message.Message{}
}

// Choose sorts the cans of one material by how likely a pour comes from them, and returns
// the can that is meant when nobody names one: the only can, or the first if somebody has
// handled it before. inUse is nil where that is not clear.
//
// Cans that need a reason come last; before that the order is by the time of the last
// handling, then by the date of opening, the newest first, then by id.
func (r Rules) Choose(cans []*Can) (inUse *Can) {
	slices.SortFunc(cans, func(x, y *Can) int {
		if rx, ry := r.Judge(x).NeedsReason(), r.Judge(y).NeedsReason(); rx != ry {
			if rx {
				return 1
			}
			return -1
		}
		return cmp.Or(y.handledAt().Compare(x.handledAt()), cmp.Compare(y.OpenedOn, x.OpenedOn), cmp.Compare(x.ID, y.ID))
	})
	if len(cans) == 1 || len(cans) > 1 && !cans[0].handledAt().IsZero() {
		return cans[0]
	}
	return nil
}
