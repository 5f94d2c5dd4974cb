package access

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/crypto/argon2"
)

// leastDigits and mostDigits are the limits of a PIN's length.
const (
	leastDigits = 6
	mostDigits  = 64
)

// HasPIN reports whether a PIN is set.
func (s *Store) HasPIN() (bool, error) {
	has, err := s.read()
	return has.PIN != "", err
}

// SetPIN sets the shop's PIN and ends the sessions of all devices. It returns an error for a PIN
// that is not allowed, or a [*FileError].
func (s *Store) SetPIN(pin string) error {
	if err := validPIN(pin); err != nil {
		return err
	}
	hashed := newHash(pin).String()
	return s.change(func(c *content) error {
		c.PIN, c.Sessions = hashed, nil
		return nil
	})
}

// validPIN returns an error for a PIN that has other characters than digits, which a pad of
// large keys could not offer, and for one that a guesser would try first.
func validPIN(pin string) error {
	if len(pin) < leastDigits || len(pin) > mostDigits || strings.Trim(pin, "0123456789") != "" {
		return fmt.Errorf("a PIN is %d digits or more", leastDigits)
	}
	step := int(pin[1]) - int(pin[0])
	for i := 2; i < len(pin); i++ {
		if int(pin[i])-int(pin[i-1]) != step {
			return nil
		}
	}
	if step >= -1 && step <= 1 {
		return errors.New("digits that are all the same or count up or down are what anybody tries first; choose others")
	}
	return nil
}

// hashed is an argon2id hash in the PHC string format:
// $argon2id$v=19$m=KIB,t=PASSES,p=LANES$SALT$KEY, salt and key in base64 without padding.
type hashed struct {
	memoryKiB, passes uint32
	lanes             uint8
	salt, key         []byte
}

// The cost of one attempt: 19 MiB and two passes, as the password storage page of OWASP
// recommends for argon2id (from memory). It takes about half a second on a small Pi (estimated).
const (
	argonMemoryKiB, argonPasses, argonLanes = 19 * 1024, 2, 1
	argonSalt, argonKey                     = 16, 32
)

func newHash(pin string) hashed {
	h := hashed{memoryKiB: argonMemoryKiB, passes: argonPasses, lanes: argonLanes, salt: make([]byte, argonSalt)}
	rand.Read(h.salt) // never fails
	h.key = argon2.IDKey([]byte(pin), h.salt, h.passes, h.memoryKiB, h.lanes, argonKey)
	return h
}

// is reports whether the hash is that of the PIN.
func (h hashed) is(pin string) bool {
	key := argon2.IDKey([]byte(pin), h.salt, h.passes, h.memoryKiB, h.lanes, uint32(len(h.key)))
	return subtle.ConstantTimeCompare(key, h.key) == 1
}

func (h hashed) String() string {
	b64 := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, h.memoryKiB, h.passes, h.lanes, b64(h.salt), b64(h.key))
}

// parsePHC reads what String writes. It returns an error for a cost that would exhaust a Pi or
// cause a panic.
func parsePHC(text string) (hashed, error) {
	parts := strings.Split(text, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return hashed{}, fmt.Errorf("not an argon2id hash of version %d", argon2.Version)
	}
	costs := strings.Split(parts[3], ",")
	if len(costs) != 3 {
		return hashed{}, errors.New("its cost is not m=,t=,p=")
	}
	var cost [3]uint64
	for i, bound := range []struct {
		name        string
		least, most uint64
	}{{"m=", 8, 64 * 1024}, {"t=", 1, 10}, {"p=", 1, 4}} {
		digits, named := strings.CutPrefix(costs[i], bound.name)
		n, err := strconv.ParseUint(digits, 10, 32)
		if !named || err != nil || n < bound.least || n > bound.most {
			return hashed{}, fmt.Errorf("%s is not within %d and %d", bound.name, bound.least, bound.most)
		}
		cost[i] = n
	}
	h := hashed{memoryKiB: uint32(cost[0]), passes: uint32(cost[1]), lanes: uint8(cost[2])}
	var err1, err2 error
	h.salt, err1 = base64.RawStdEncoding.Strict().DecodeString(parts[4])
	h.key, err2 = base64.RawStdEncoding.Strict().DecodeString(parts[5])
	if err1 != nil || err2 != nil || len(h.salt) < 8 || len(h.salt) > 64 || len(h.key) < 16 || len(h.key) > 64 {
		return hashed{}, errors.New("its salt or key is not 8 to 64 and 16 to 64 bytes in base64")
	}
	return h, nil
}
