package access

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// validRights wants at least one right, and none unknown.
func validRights(may []Right) error {
	if len(may) == 0 {
		return errors.New("a token that may do nothing is of no use; name one or more of report, mix, acknowledge and configure")
	}
	for _, r := range may {
		if !slices.Contains(Rights(), r) {
			return fmt.Errorf("there is no right %q; there are report, mix, acknowledge and configure", r)
		}
	}
	return nil
}

// NewToken makes a token and returns its secret, which is not kept. now is the wall
// clock.
func (s *Store) NewToken(name string, may []Right, now time.Time) (secret string, err error) {
	if err := errors.Join(tokenName(name), validRights(may)); err != nil {
		return "", err
	}
	sorted := slices.Clone(may)
	slices.SortFunc(sorted, func(a, b Right) int { return slices.Index(Rights(), a) - slices.Index(Rights(), b) })
	secret = newSecret()
	err = s.change(func(c *content) error {
		if slices.ContainsFunc(c.Tokens, func(t Token) bool { return t.Name == name }) {
			return fmt.Errorf("there is a token %q already; revoke it first, or choose another name", name)
		}
		if slices.ContainsFunc(c.Sessions, func(p Session) bool { return p.Device == name }) {
			return fmt.Errorf("a paired device is called %q; choose another name, so that the journal tells them apart", name)
		}
		c.Tokens = append(c.Tokens, Token{Name: name, May: slices.Compact(sorted), Made: now.UTC().Truncate(time.Second), Hash: hashSecret(secret)})
		return nil
	})
	if err != nil {
		return "", err
	}
	return secret, nil
}

// Tokens lists the tokens.
func (s *Store) Tokens() ([]Token, error) {
	has, err := s.read()
	return slices.Clone(has.Tokens), err
}

// RevokeToken ends a token, and reports whether there was one of that name.
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
		if is(t.Hash, hash) {
			return t, nil
		}
	}
	return Token{}, ErrUnknown
}
