package learn

import (
	"errors"
	"fmt"
	"time"

	"potlifed/model/lifecycle"
)

// Account is what somebody wrote down about a batch.
type Account struct {
	MixedAt, ClosedAt time.Time
	// LastGoodAt is when somebody last looked and it was good; zero when nobody did. At MixedAt it says that the end was looked for from
	// then on.
	LastGoodAt time.Time
	Outcome    lifecycle.Outcome
	StillGood  lifecycle.StillGood
	// SeenNow: the end was seen as it happened, at ClosedAt.
	SeenNow bool
}

// Evidence is what an account says about the end, in ages.
type Evidence struct {
	Kind     Kind
	From, To time.Duration
}

// ErrNothingKnown means that an account is in order but says nothing about the end: closing a batch is when the record was made, not
// that the batch was alive until then.
var ErrNothingKnown = errors.New("nobody looked whether it was still good")

// AccountError is a contradiction in an account. Field is one of mixed_at, closed_at, last_good_at, outcome and still_good.
type AccountError struct{ Field, Why string }

func (e *AccountError) Error() string { return e.Field + ": " + e.Why }

// sameInstant: looks this close together are one.
const sameInstant = time.Minute

// check finds contradictions.
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

// Evidence reads an account. What went off ended when its writer says so, or, if there was a look before, between the two; so did what
// was closed for another reason and was found no longer good. What was good at closing, or was used up and nobody says otherwise, lived
// until then at least. Everything else lived until the last look. The error is an AccountError or ErrNothingKnown.
func (a Account) Evidence() (Evidence, error) {
	if err := a.check(); err != nil {
		return Evidence{}, err
	}
	closed, looked := a.ClosedAt.Sub(a.MixedAt), time.Duration(0)
	if !a.LastGoodAt.IsZero() {
		looked = a.LastGoodAt.Sub(a.MixedAt)
	}
	exact := a.SeenNow || a.LastGoodAt.IsZero() || closed-looked < sameInstant
	switch {
	case a.Outcome == lifecycle.WentOff && exact:
		return Evidence{Kind: Ended, To: closed}, nil
	case a.Outcome == lifecycle.WentOff || a.StillGood == lifecycle.GoodNo:
		return Evidence{Kind: Between, From: looked, To: closed}, nil
	case a.StillGood == lifecycle.GoodYes || a.Outcome == lifecycle.UsedUp && a.StillGood == "":
		return Evidence{Kind: Alive, To: closed}, nil
	case looked > 0:
		return Evidence{Kind: Alive, To: looked}, nil
	}
	return Evidence{}, ErrNothingKnown
}
