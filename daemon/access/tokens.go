package access

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"potlifed/daemon/request"
)

// check returns an error for a token with a wrong name, an unknown right, no use at all, or
// lights that it cannot have.
func (t Token) check() error {
	errs := []error{tokenName(t.Name)}
	for _, r := range t.May {
		if !slices.Contains(request.Rights(), r) {
			errs = append(errs, fmt.Errorf("there is no right %q; there are report, mix, acknowledge and configure", r))
		}
	}
	if len(t.May) == 0 && !t.MQTT {
		errs = append(errs, errors.New("a token that may do nothing is of no use; name one or more of report, mix, acknowledge and configure"))
	}
	for _, l := range t.Lights {
		if !idShape.MatchString(l) {
			errs = append(errs, fmt.Errorf("%q is no light's id", l))
		}
	}
	if len(t.Lights) > 0 && !t.MQTT {
		errs = append(errs, errors.New("only a user of the built-in broker is restricted to lights"))
	}
	return errors.Join(errs...)
}

// NewToken makes a token and returns its secret, which is not stored. now is the wall clock. The
// error says what is wrong with the token, or is a [*FileError].
func (s *Store) NewToken(name string, may []request.Right, now time.Time) (secret string, err error) {
	return s.make(Token{Name: name, May: may}, now)
}

// NewUser makes a user of the built-in broker and returns the password, which is not stored. A
// user without rights may read; a user with lights reads only the topics of these. The errors
// are those of NewToken.
func (s *Store) NewUser(name string, may []request.Right, lights []string, now time.Time) (password string, err error) {
	return s.make(Token{Name: name, May: may, MQTT: true, Lights: lights}, now)
}

// make stores a token under a name that is not in use, with a new secret.
func (s *Store) make(t Token, now time.Time) (secret string, err error) {
	if err := t.check(); err != nil {
		return "", err
	}
	sorted := slices.Clone(t.May)
	slices.SortFunc(sorted, func(a, b request.Right) int {
		return slices.Index(request.Rights(), a) - slices.Index(request.Rights(), b)
	})
	secret = newSecret()
	t.May, t.Made, t.Hash = slices.Compact(sorted), now.UTC().Truncate(time.Second), hashSecret(secret)
	name := t.Name
	err = s.change(func(c *content) error {
		if slices.ContainsFunc(c.Tokens, func(t Token) bool { return t.Name == name }) {
			return fmt.Errorf("there is a token %q already; revoke it first, or choose another name", name)
		}
		if slices.ContainsFunc(c.Sessions, func(p Session) bool { return p.Device == name }) {
			return fmt.Errorf("a paired device is called %q; choose another name, so that the journal tells them apart", name)
		}
		c.Tokens = append(c.Tokens, t)
		return nil
	})
	if err != nil {
		return "", err
	}
	return secret, nil
}

// Tokens returns all tokens. The error is a [*FileError].
func (s *Store) Tokens() ([]Token, error) {
	has, err := s.read()
	return slices.Clone(has.Tokens), err
}

// RevokeToken removes a token. It returns whether there was one of that name. The error is a
// [*FileError].
func (s *Store) RevokeToken(name string) (found bool, err error) {
	err = s.change(func(c *content) error {
		n := len(c.Tokens)
		c.Tokens = slices.DeleteFunc(c.Tokens, func(t Token) bool { return t.Name == name })
		found = len(c.Tokens) < n
		return nil
	})
	return found, err
}

// Bearer returns the token that a secret belongs to. The error is [ErrUnknown] or a
// [*FileError].
func (s *Store) Bearer(secret string) (Token, error) {
	has, err := s.read()
	if err != nil {
		return Token{}, err
	}
	hash := hashSecret(secret)
	for _, t := range has.Tokens {
		if !t.MQTT && is(t.Hash, hash) {
			return t, nil
		}
	}
	return Token{}, ErrUnknown
}

// User returns the token of the built-in broker's user who has the given name. The error is
// [ErrUnknown] or a [*FileError].
func (s *Store) User(name string) (Token, error) {
	has, err := s.read()
	if err != nil {
		return Token{}, err
	}
	for _, t := range has.Tokens {
		if t.MQTT && t.Name == name {
			return t, nil
		}
	}
	return Token{}, ErrUnknown
}
