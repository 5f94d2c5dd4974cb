package access

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/whole"
)

// FileName is the file's name inside the data directory.
const FileName = "access.json"

// fileBytes is the largest size of the file. A hundred devices and as many tokens need much
// less.
const fileBytes = 1 << 20

// content is the content of the file.
type content struct {
	PIN      string    `json:"pin,omitempty"` // argon2id, with its parameters and salt
	Tokens   []Token   `json:"tokens,omitempty"`
	Sessions []Session `json:"sessions,omitempty"`
}

// Token is an access token without its secret.
type Token struct {
	Name string          `json:"name"`
	May  []request.Right `json:"may"`
	Made time.Time       `json:"made"`
	Hash string          `json:"hash"` // SHA-256 of 256 random bits, which cannot be guessed, so a slow hash is not needed
	// MQTT: the token is a user of the built-in broker and nothing else. If there are Lights,
	// the user is restricted to their topics.
	MQTT   bool     `json:"mqtt,omitempty"`
	Lights []string `json:"lights,omitempty"`
}

// Allows reports whether the token has a right.
func (t Token) Allows(r request.Right) bool { return slices.Contains(t.May, r) }

// Is reports whether secret is the secret of this token.
func (t Token) Is(secret string) bool { return is(t.Hash, hashSecret(secret)) }

// Session is a paired device without its secret.
type Session struct {
	ID     string    `json:"id"`
	Device string    `json:"device"`
	Made   time.Time `json:"made"`
	Until  time.Time `json:"until"`
	Hash   string    `json:"hash"`
}

// Store gives access to the file. Its methods may be called from any goroutine, while other
// processes use the same file.
type Store struct {
	dir     string
	last    atomic.Pointer[parsed]
	writing sync.Mutex // held during a change of the file, as is the lock on the directory
	guesses guesses
}

// parsed is the content of the file when it was last read.
type parsed struct {
	raw []byte
	has content
	err error
}

// Open returns the store of a data directory. It reads nothing yet, so that a service with a
// damaged file can start and report it; see [Store.Check].
func Open(dir string) *Store {
	return &Store{dir: dir, guesses: newGuesses()}
}

// Check returns nil when the file can be used, and otherwise a [*FileError] with the reason. A
// missing file counts as an empty one.
func (s *Store) Check() error {
	_, err := s.read()
	return err
}

func (s *Store) path() string { return filepath.Join(s.dir, FileName) }

// read reads the file each time. It is small, and what another process revoked must have no
// effect any more, whatever the time stamp of the file is.
func (s *Store) read() (content, error) {
	raw, err := s.bytes()
	if errors.Is(err, fs.ErrNotExist) {
		return content{}, nil
	}
	if err != nil {
		return content{}, &FileError{s.path(), err}
	}
	p := s.last.Load()
	if p == nil || !bytes.Equal(p.raw, raw) {
		p = &parsed{raw: raw}
		if p.has, err = parse(raw); err != nil {
			p.err = &FileError{s.path(), fmt.Errorf("%w; restore it, or remove it and set a new PIN and new tokens", err)}
		}
		s.last.Store(p)
	}
	return p.has, p.err
}

func (s *Store) bytes() ([]byte, error) {
	f, err := os.Open(s.path())
	if err != nil {
		return nil, err
	}
	defer f.Close()
	raw, err := io.ReadAll(io.LimitReader(f, fileBytes+1))
	if err == nil && len(raw) > fileBytes {
		err = errors.New("it is too large to be one of ours")
	}
	return raw, err
}

// parse accepts only what this version writes. A right or a limit that it does not know must not
// be ignored.
func parse(raw []byte) (content, error) {
	var c content
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(&c); err != nil {
		return content{}, fmt.Errorf("it cannot be read: %w", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return content{}, errors.New("more follows after its end")
	}
	if c.PIN != "" {
		if _, err := parsePHC(c.PIN); err != nil {
			return content{}, fmt.Errorf("its PIN cannot be read: %w", err)
		}
	}
	for _, t := range c.Tokens {
		if err := t.check(); err != nil {
			return content{}, fmt.Errorf("its tokens cannot be read: %w", err)
		}
	}
	return c, nil
}

// change changes the file as a whole. Two processes wait for each other, so that neither reverts
// the change of the other.
func (s *Store) change(f func(c *content) error) error {
	s.writing.Lock()
	defer s.writing.Unlock()
	release, err := lock(s.dir)
	if err != nil {
		return &FileError{s.path(), err}
	}
	defer release()
	has, err := s.read()
	if err != nil {
		return err
	}
	c := content{PIN: has.PIN, Tokens: slices.Clone(has.Tokens), Sessions: slices.Clone(has.Sessions)}
	if err := f(&c); err != nil {
		return err
	}
	raw, err := json.MarshalIndent(c, "", "  ")
	if err == nil {
		err = s.replace(append(raw, '\n'))
	}
	if err != nil {
		return &FileError{s.path(), err}
	}
	return nil
}

// replace writes the file. It removes the temporary files that crashes left, which are nobody's under the lock.
func (s *Store) replace(raw []byte) (err error) {
	left, err := fs.Glob(os.DirFS(s.dir), whole.Temporary(FileName))
	for _, name := range left {
		err = errors.Join(err, os.Remove(filepath.Join(s.dir, name)))
	}
	if err != nil {
		return err
	}
	f, err := whole.Create(s.path(), whole.Private)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Discard()) }()
	if _, err := f.Write(raw); err != nil {
		return err
	}
	if err := ownedAs(f, s.dir); err != nil {
		return err
	}
	return f.Complete()
}
