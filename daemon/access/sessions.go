package access

import (
	"fmt"
	"slices"
	"time"
)

const (
	// sessionLasts is for how long a device stays paired.
	sessionLasts = 30 * 24 * time.Hour
	// mostSessions is the largest number of paired devices in a shop.
	mostSessions = 100
)

// Pair opens a session for a device that knows the PIN. It returns the session with its secret,
// which is not stored. A session that the device had before, identified by its secret, ends.
// from is the origin of the attempt, [Local] or the remote address, by which attempts are
// counted. now is the wall clock. The error is [ErrNoPIN], [ErrWrongPIN], [ErrFull], [*TooOften]
// or a [*FileError], or says what is wrong with the name.
func (s *Store) Pair(pin, device, former, from string, now time.Time) (Session, string, error) {
	device, err := deviceName(device)
	if err != nil {
		return Session{}, "", err
	}
	if err := s.try(pin, from, now); err != nil {
		return Session{}, "", err
	}
	secret := newSecret()
	made := now.UTC().Truncate(time.Second)
	p := Session{ID: newID(), Device: device, Made: made, Until: made.Add(sessionLasts), Hash: hashSecret(secret)}
	err = s.change(func(c *content) error {
		c.Sessions = slices.DeleteFunc(c.Sessions, func(old Session) bool {
			return !now.Before(old.Until) || former != "" && is(old.Hash, hashSecret(former))
		})
		switch {
		case len(c.Sessions) >= mostSessions:
			return ErrFull
		case slices.ContainsFunc(c.Tokens, func(t Token) bool { return t.Name == device }):
			return fmt.Errorf("an access token is called %q; choose another name, so that the journal tells them apart", device)
		}
		c.Sessions = append(c.Sessions, p)
		return nil
	})
	if err != nil {
		return Session{}, "", err
	}
	return p, secret, nil
}

// try checks a PIN.
func (s *Store) try(pin, from string, now time.Time) error {
	has, err := s.read()
	if err != nil {
		return err
	}
	if has.PIN == "" {
		return ErrNoPIN
	}
	h, err := parsePHC(has.PIN)
	if err != nil { // it was read a moment ago
		return &FileError{s.path(), err}
	}
	if wait := s.guesses.take(from, now); wait > 0 {
		return &TooOften{wait}
	}
	if len(pin) > mostDigits || !s.guesses.one(func() bool { return h.is(pin) }) {
		return ErrWrongPIN
	}
	s.guesses.giveBack(from, now)
	return nil
}

// Paired returns the session that a secret belongs to. The error is [ErrUnknown] or a
// [*FileError].
func (s *Store) Paired(secret string, now time.Time) (Session, error) {
	has, err := s.read()
	if err != nil {
		return Session{}, err
	}
	hash := hashSecret(secret)
	for _, p := range has.Sessions {
		if is(p.Hash, hash) && now.Before(p.Until) {
			return p, nil
		}
	}
	return Session{}, ErrUnknown
}

// Sessions returns the paired devices. The error is a [*FileError].
func (s *Store) Sessions(now time.Time) ([]Session, error) {
	has, err := s.read()
	return slices.DeleteFunc(slices.Clone(has.Sessions), func(p Session) bool { return !now.Before(p.Until) }), err
}

// Unpair ends a session by its id. The error is [ErrUnknown] or a [*FileError].
func (s *Store) Unpair(id string) (ended Session, err error) {
	err = s.change(func(c *content) error {
		i := slices.IndexFunc(c.Sessions, func(p Session) bool { return p.ID == id })
		if i < 0 {
			return ErrUnknown
		}
		ended = c.Sessions[i]
		c.Sessions = slices.Delete(c.Sessions, i, i+1)
		return nil
	})
	return ended, err
}
