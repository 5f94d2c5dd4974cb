// Package access keeps who may change what: the shop's PIN, the devices paired with it,
// and access tokens. Everything secret is kept as a hash, in one file beside the
// journal that is replaced as a whole; the daemon and the commands pin and token share
// it.
package access

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/crypto/argon2"
)

// Right is what a token may be used for.
type Right string

// The rights. A paired device has all but Configure.
const (
	Report      Right = "report"      // prints, defects
	Mix         Right = "mix"         // everything at the bench and the presses
	Acknowledge Right = "acknowledge" // alarms: acknowledge, put aside
	Configure   Right = "configure"   // what outlasts the day: learned inks, devices out of service
)

// Rights are all rights, by their words.
func Rights() []Right { return []Right{Report, Mix, Acknowledge, Configure} }

// FileName is the file's name inside the data directory.
const FileName = "access.json"

// sessionLasts is how long a paired device stays paired.
const sessionLasts = 30 * 24 * time.Hour

// What a caller may branch on.
var (
	ErrNoPIN    = errors.New("no PIN is set; set one with: potlifed pin")
	ErrWrongPIN = errors.New("wrong PIN")
	ErrTooOften = errors.New("too many wrong PINs; wait a minute")
)

// Token is an access token without its secret.
type Token struct {
	Name string    `json:"name"`
	May  []Right   `json:"may"`
	Made time.Time `json:"made"`
	Hash string    `json:"hash"` // SHA-256 of 256 random bits: nothing to guess, so no slow hash
}

// Session is a paired device without its secret.
type Session struct {
	ID     string    `json:"id"`
	Device string    `json:"device"`
	Made   time.Time `json:"made"`
	Until  time.Time `json:"until"`
	Hash   string    `json:"hash"`
}

// content is what the file holds.
type content struct {
	PIN      string    `json:"pin,omitempty"` // argon2id, with its parameters and salt
	Tokens   []Token   `json:"tokens,omitempty"`
	Sessions []Session `json:"sessions,omitempty"`
}

// Store is the file. Its methods may be called from any goroutine.
type Store struct {
	path string

	mu     sync.Mutex // guards what follows
	read   stamp      // of what was read last
	has    content
	wrong  int       // PINs in a row
	waitTo time.Time // no PIN is looked at before
}

// stamp tells one state of the file from another.
type stamp struct {
	size int64
	at   time.Time
}

// Open opens the store in the data directory. A file that is not there is an empty one.
func Open(dir string) (*Store, error) {
	s := &Store{path: filepath.Join(dir, FileName)}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s, s.refresh()
}

// refresh reads the file if somebody has replaced it.
func (s *Store) refresh() error {
	info, err := os.Stat(s.path)
	if errors.Is(err, fs.ErrNotExist) {
		s.has, s.read = content{}, stamp{}
		return nil
	}
	if err != nil {
		return fmt.Errorf("access: %w", err)
	}
	now := stamp{info.Size(), info.ModTime()}
	if now == s.read {
		return nil
	}
	b, err := os.ReadFile(s.path)
	if err != nil {
		return fmt.Errorf("access: %w", err)
	}
	var c content
	if err := json.Unmarshal(b, &c); err != nil {
		return fmt.Errorf("access: %s: %w; restore it, or remove it and set PIN and tokens anew", s.path, err)
	}
	s.has, s.read = c, now
	return nil
}

// change alters the file as a whole: write aside, sync, rename.
func (s *Store) change(f func(c *content) error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.refresh(); err != nil {
		return err
	}
	c := content{PIN: s.has.PIN, Tokens: slices.Clone(s.has.Tokens), Sessions: slices.Clone(s.has.Sessions)}
	if err := f(&c); err != nil {
		return err
	}
	b, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		return fmt.Errorf("access: %w", err)
	}
	if err := replace(s.path, append(b, '\n')); err != nil {
		return fmt.Errorf("access: %w", err)
	}
	return s.refresh()
}

func replace(path string, b []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".access-*")
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

// HasPIN reports whether a PIN is set. A file that cannot be read counts as one that
// has: nobody gets in by spoiling it.
func (s *Store) HasPIN() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.refresh() != nil || s.has.PIN != ""
}

// leastDigits is how long a PIN has to be.
const leastDigits = 6

// SetPIN sets the shop's PIN and unpairs every device. It wants six digits or more.
func (s *Store) SetPIN(pin string) error {
	if len(pin) < leastDigits || len(pin) > 64 || strings.Trim(pin, "0123456789") != "" {
		return fmt.Errorf("a PIN is %d digits or more", leastDigits)
	}
	hashed := hashPIN(pin)
	return s.change(func(c *content) error {
		c.PIN, c.Sessions = hashed, nil
		return nil
	})
}

// The cost of one guess: 19 MiB and two passes, what OWASP's password storage page
// recommends for argon2id (from memory); half a second on a small Pi.
const (
	argonTime, argonMemory, argonThreads, argonKey = 2, 19 * 1024, 1, 32
)

func hashPIN(pin string) string {
	salt := make([]byte, 16)
	rand.Read(salt)
	key := argon2.IDKey([]byte(pin), salt, argonTime, argonMemory, argonThreads, argonKey)
	b64 := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf("$argon2id$v=19$m=%d,t=%d,p=%d$%s$%s", argonMemory, argonTime, argonThreads, b64(salt), b64(key))
}

func isPIN(hashed, pin string) bool {
	var memory, passes uint32
	var threads uint8
	parts := strings.Split(hashed, "$")
	if len(parts) != 6 || parts[1] != "argon2id" {
		return false
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &memory, &passes, &threads); err != nil || memory > 1<<16 || passes > 10 || threads == 0 || threads > 16 {
		return false
	}
	salt, err1 := base64.RawStdEncoding.DecodeString(parts[4])
	want, err2 := base64.RawStdEncoding.DecodeString(parts[5])
	if err1 != nil || err2 != nil || len(want) == 0 {
		return false
	}
	got := argon2.IDKey([]byte(pin), salt, passes, memory, threads, uint32(len(want)))
	return subtle.ConstantTimeCompare(got, want) == 1
}

// wrongAllowed is how many wrong PINs in a row are taken before the next has to wait.
const (
	wrongAllowed = 5
	wrongWait    = time.Minute
)

// Pair opens a session for a device that knows the PIN, and returns its secret. The
// error is ErrNoPIN, ErrWrongPIN, ErrTooOften, or that of the file.
func (s *Store) Pair(pin, device string, now time.Time) (secret string, err error) {
	if err := s.try(pin, now); err != nil {
		return "", err
	}
	secret = newSecret()
	err = s.change(func(c *content) error {
		c.Sessions = slices.DeleteFunc(c.Sessions, func(old Session) bool { return !now.Before(old.Until) })
		c.Sessions = append(c.Sessions, Session{
			ID: newSecret()[:8], Device: device, Made: now, Until: now.Add(sessionLasts), Hash: hashSecret(secret),
		})
		return nil
	})
	return secret, err
}

// try looks at a PIN. One guess at a time: the lock is held while it is hashed.
func (s *Store) try(pin string, now time.Time) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.refresh(); err != nil {
		return err
	}
	switch {
	case s.has.PIN == "":
		return ErrNoPIN
	case now.Before(s.waitTo):
		return ErrTooOften
	case !isPIN(s.has.PIN, pin):
		if s.wrong++; s.wrong >= wrongAllowed {
			s.wrong, s.waitTo = 0, now.Add(wrongWait)
		}
		return ErrWrongPIN
	}
	s.wrong = 0
	return nil
}

// Paired returns the device that a session's secret belongs to.
func (s *Store) Paired(secret string, now time.Time) (device string, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.refresh() != nil {
		return "", false
	}
	hash := hashSecret(secret)
	for _, p := range s.has.Sessions {
		if same(p.Hash, hash) && now.Before(p.Until) {
			return p.Device, true
		}
	}
	return "", false
}

// Sessions lists the paired devices.
func (s *Store) Sessions(now time.Time) ([]Session, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.refresh(); err != nil {
		return nil, err
	}
	return slices.DeleteFunc(slices.Clone(s.has.Sessions), func(p Session) bool { return !now.Before(p.Until) }), nil
}

// Unpair ends a session by its id, and reports whether there was one.
func (s *Store) Unpair(id string) (found bool, err error) {
	err = s.change(func(c *content) error {
		n := len(c.Sessions)
		c.Sessions = slices.DeleteFunc(c.Sessions, func(p Session) bool { return p.ID == id })
		found = len(c.Sessions) < n
		return nil
	})
	return found, err
}

// NewToken makes a token and returns its secret, which is not kept.
func (s *Store) NewToken(name string, may []Right, now time.Time) (secret string, err error) {
	if name == "" || len(name) > 64 {
		return "", errors.New("a token needs a name of 64 characters at most")
	}
	if len(may) == 0 {
		return "", errors.New("a token that may do nothing is of no use: report, mix, acknowledge or configure")
	}
	for _, r := range may {
		if !slices.Contains(Rights(), r) {
			return "", fmt.Errorf("there is no right %q: report, mix, acknowledge or configure", r)
		}
	}
	secret = newSecret()
	err = s.change(func(c *content) error {
		if slices.ContainsFunc(c.Tokens, func(t Token) bool { return t.Name == name }) {
			return fmt.Errorf("there is a token %q already; revoke it first, or choose another name", name)
		}
		c.Tokens = append(c.Tokens, Token{Name: name, May: may, Made: now, Hash: hashSecret(secret)})
		return nil
	})
	return secret, err
}

// Tokens lists the tokens.
func (s *Store) Tokens() ([]Token, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.refresh(); err != nil {
		return nil, err
	}
	return slices.Clone(s.has.Tokens), nil
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

// Bearer returns the token that a secret belongs to.
func (s *Store) Bearer(secret string) (t Token, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.refresh() != nil {
		return Token{}, false
	}
	hash := hashSecret(secret)
	for _, t := range s.has.Tokens {
		if same(t.Hash, hash) {
			return t, true
		}
	}
	return Token{}, false
}

// newSecret is 256 random bits.
func newSecret() string {
	b := make([]byte, 32)
	rand.Read(b)
	return base64.RawURLEncoding.EncodeToString(b)
}

func hashSecret(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }
