package learn

import (
	"errors"
	"fmt"
	"time"

	"potlifed/model/lifecycle"
)

// Account is what somebody recorded about the end of a batch.
type Account struct {
	MixedAt, ClosedAt time.Time
	// LastGoodAt is when somebody last looked and it was good; zero when nobody did. At MixedAt
	// it means that people looked for the end from then on.
	LastGoodAt time.Time
	Outcome    lifecycle.Outcome
	StillGood  lifecycle.StillGood
	// SeenNow: somebody saw the end when it happened, at ClosedAt.
	SeenNow bool
}

// Evidence is what an account says about the end, as ages.
type Evidence struct {
	Kind     Kind
	From, To time.Duration
	// Noted as in [Record].
	Noted bool
}

// ErrNothingKnown means that an account has no contradiction but says nothing about the end: the
// time of closing is when the record was made, and does not mean that the batch was good until
// then.
var ErrNothingKnown = errors.New("nobody looked whether it was still good")

// AccountError is a contradiction in an account. Field is mixed_at, closed_at, last_good_at,
// outcome or still_good.
type AccountError struct{ Field, Why string }

// Error returns the field and the contradiction.
func (e *AccountError) Error() string { return e.Field + ": " + e.Why }

// lookInterval is how long before an end that was written down without a look before it the batch is
// taken to have been good at least. Common practice, no source: people look about once in an hour,
// and write the end down when they find it.
const lookInterval = time.Hour

// sameInstant is how close together two looks count as one.
const sameInstant = time.Minute

// check returns an error for a contradiction.
func (a Account) check() error {
	wrong := func(field, format string, args ...any) error {
		return &AccountError{Field: field, Why: fmt.Sprintf(format, args...)}
	}
	clock := func(t time.Time) string { return t.Format(time.RFC3339) }
	switch a.Outcome {
	case lifecycle.UsedUp, lifecycle.Discarded, lifecycle.WentOff, lifecycle.NotKnown:
	default:
		return wrong("outcome", "%q is none of used-up, discarded, went-off, not-known", a.Outcome)
	}
	switch a.StillGood {
	case "", lifecycle.GoodYes, lifecycle.GoodNo, lifecycle.GoodUnknown:
	default:
		return wrong("still_good", "%q is none of yes, no, unknown", a.StillGood)
	}
	switch {
	case !a.ClosedAt.After(a.MixedAt):
		return wrong("closed_at", "%s is not after mixed_at, %s", clock(a.ClosedAt), clock(a.MixedAt))
	case !a.LastGoodAt.IsZero() && a.LastGoodAt.Before(a.MixedAt):
		return wrong("last_good_at", "%s is before mixed_at, %s", clock(a.LastGoodAt), clock(a.MixedAt))
	case a.LastGoodAt.After(a.ClosedAt):
		return wrong("last_good_at", "%s is after closed_at, %s", clock(a.LastGoodAt), clock(a.ClosedAt))
	case a.Outcome == lifecycle.WentOff && a.StillGood == lifecycle.GoodYes:
		return wrong("still_good", "yes, but the outcome is went-off")
	}
	return nil
}

// Evidence returns what the account says about the end. A batch that went off while somebody watched
// ended at the time given. If somebody looked before, it ended between the two times; if nobody did,
// the time is when the end was noted, and the batch was good until [lookInterval] before. So did a batch that was closed
// for another reason and was no longer good. A batch that was good at closing, or that was used
// up while nobody says otherwise, was good until then. All others were good until the last look.
// The error is an [*AccountError] or ErrNothingKnown.
func (a Account) Evidence() (Evidence, error) {
	if err := a.check(); err != nil {
		return Evidence{}, err
	}
	closed, looked := a.ClosedAt.Sub(a.MixedAt), time.Duration(0)
	if !a.LastGoodAt.IsZero() {
		looked = a.LastGoodAt.Sub(a.MixedAt)
	}
	exact := a.SeenNow || closed-looked < sameInstant
	switch {
	case a.Outcome == lifecycle.WentOff && exact:
		return Evidence{Kind: Ended, To: closed}, nil
	case a.Outcome == lifecycle.WentOff && a.LastGoodAt.IsZero():
		return Evidence{Kind: Ended, From: max(closed-lookInterval, 0), To: closed, Noted: true}, nil
	case a.Outcome == lifecycle.WentOff || a.StillGood == lifecycle.GoodNo:
		return Evidence{Kind: Between, From: looked, To: closed}, nil
	case a.StillGood == lifecycle.GoodYes || a.Outcome == lifecycle.UsedUp && a.StillGood == "":
		return Evidence{Kind: Alive, To: closed}, nil
	case looked > 0:
		return Evidence{Kind: Alive, To: looked}, nil
	}
	return Evidence{}, ErrNothingKnown
}
