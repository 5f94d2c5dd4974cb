package access

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"potlifed/daemon/request"
)

var noon = time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)

const goodPIN = "902817"

// withPIN is a store with a PIN.
func withPIN(t *testing.T) (s *Store, dir string) {
	t.Helper()
	dir = t.TempDir()
	s = Open(dir)
	if err := s.SetPIN(goodPIN); err != nil {
		t.Fatal(err)
	}
	return s, dir
}

func pair(t *testing.T, s *Store, device string) (Session, string) {
	t.Helper()
	p, secret, err := s.Pair(goodPIN, device, "", Local, noon)
	if err != nil {
		t.Fatal(err)
	}
	return p, secret
}

func TestPINs(t *testing.T) {
	s := Open(t.TempDir())
	if has, err := s.HasPIN(); has || err != nil {
		t.Errorf("a new store has a PIN, or an error: %v, %v", has, err)
	}
	if _, _, err := s.Pair("123456", "tablet", "", Local, noon); !errors.Is(err, ErrNoPIN) {
		t.Errorf("pairing without a PIN: %v", err)
	}
	for _, bad := range []string{"", "12345", "12345a", "１２３４５６", "90 2817", "123456", "987654", "000000", strings.Repeat("92", 33)} {
		if err := s.SetPIN(bad); err == nil {
			t.Errorf("PIN %q was taken", bad)
		}
	}
	for _, good := range []string{goodPIN, "135790", "112233"} {
		if err := s.SetPIN(good); err != nil {
			t.Errorf("PIN %q: %v", good, err)
		}
	}
}

func TestPairing(t *testing.T) {
	dir := t.TempDir()
	s, other := Open(dir), Open(dir) // the service and a command
	if err := other.SetPIN(goodPIN); err != nil {
		t.Fatal(err)
	}
	if has, err := s.HasPIN(); !has || err != nil {
		t.Errorf("a PIN set by the command is not seen by the service: %v", err)
	}
	p, secret := pair(t, s, "  tablet at the bench ")
	if p.Device != "tablet at the bench" || len(secret) != 43 {
		t.Errorf("session %+v, secret of %d characters", p, len(secret))
	}
	if got, err := other.Paired(secret, noon.Add(29*24*time.Hour)); err != nil || got.ID != p.ID || got.Device != p.Device {
		t.Errorf("paired device %+v, %v", got, err)
	}
	if _, err := s.Paired(secret, noon.Add(30*24*time.Hour)); !errors.Is(err, ErrUnknown) {
		t.Errorf("a session after 30 days: %v", err)
	}
	for _, wrong := range []string{"", secret + "x", secret[1:], hashSecret(secret), p.ID} {
		if _, err := s.Paired(wrong, noon); !errors.Is(err, ErrUnknown) {
			t.Errorf("the secret %q: %v", wrong, err)
		}
	}
	if list, err := s.Sessions(noon); err != nil || len(list) != 1 {
		t.Fatalf("sessions %v, %v", list, err)
	}
	if ended, err := other.Unpair(p.ID); ended.Device != p.Device || err != nil {
		t.Errorf("unpair: %+v, %v", ended, err)
	}
	if _, err := s.Paired(secret, noon); !errors.Is(err, ErrUnknown) {
		t.Errorf("an unpaired device: %v", err)
	}
	if _, err := s.Unpair(p.ID); !errors.Is(err, ErrUnknown) {
		t.Errorf("unpaired twice: %v", err)
	}
}

// TestPairingAnew: each pairing has a secret of its own, and a device that pairs again
// does not leave its old session behind.
func TestPairingAnew(t *testing.T) {
	s, _ := withPIN(t)
	_, first := pair(t, s, "tablet")
	_, second, err := s.Pair(goodPIN, "tablet", first, Local, noon)
	if err != nil || second == first {
		t.Fatalf("the second secret is the first, or %v", err)
	}
	if _, err := s.Paired(first, noon); !errors.Is(err, ErrUnknown) {
		t.Errorf("the former session: %v", err)
	}
	pair(t, s, "tablet")
	if list, _ := s.Sessions(noon); len(list) != 2 {
		t.Errorf("sessions %v", list)
	}
	if _, _, err := s.Pair(goodPIN, "tablet", "", Local, noon.Add(31*24*time.Hour)); err != nil {
		t.Fatal(err)
	}
	var c content
	raw, err := os.ReadFile(s.path())
	if err == nil {
		err = json.Unmarshal(raw, &c)
	}
	if err != nil || len(c.Sessions) != 1 {
		t.Errorf("sessions that have run out stay in the file: %v, %v", c.Sessions, err)
	}
}

func TestANewPINUnpairs(t *testing.T) {
	s, _ := withPIN(t)
	_, secret := pair(t, s, "tablet")
	if err := s.SetPIN("7531924"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Paired(secret, noon); !errors.Is(err, ErrUnknown) {
		t.Errorf("after the PIN was changed: %v", err)
	}
}

func TestNames(t *testing.T) {
	s, _ := withPIN(t)
	if _, err := s.NewToken("camera-1", []request.Right{request.RightReport}, noon); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{"", "  ", "a\nb", "a\x00", "\xff", "Local", "bench", "mqtt", strings.Repeat("x", 41), "camera-1", "right\u202eleft"} {
		if _, _, err := s.Pair(goodPIN, bad, "", Local, noon); err == nil {
			t.Errorf("the device name %q was taken", bad)
		}
	}
	for _, good := range []string{"Tablet 2", "Prüfplatz", "印刷"} {
		pair(t, s, good)
	}
	pair(t, s, "tablet")
	for _, bad := range []string{"", "Camera", "a b", "camera_1", "-a", "a/b", "a+", "local", "bench", strings.Repeat("x", 33), "camera-1", "tablet"} {
		if _, err := s.NewToken(bad, []request.Right{request.RightMix}, noon); err == nil {
			t.Errorf("the token name %q was taken", bad)
		}
	}
}

func TestDevicesAreBounded(t *testing.T) {
	s, _ := withPIN(t)
	err := s.change(func(c *content) error {
		for i := range mostSessions {
			c.Sessions = append(c.Sessions, Session{ID: fmt.Sprint(i), Device: "d", Until: noon.Add(time.Hour)})
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := s.Pair(goodPIN, "one more", "", Local, noon); !errors.Is(err, ErrFull) {
		t.Errorf("one device too many: %v", err)
	}
}

func TestTokens(t *testing.T) {
	s := Open(t.TempDir())
	secret, err := s.NewToken("camera-1", []request.Right{request.RightMix, request.RightReport, request.RightMix}, noon)
	if err != nil || len(secret) != 43 {
		t.Fatalf("token %q, %v", secret, err)
	}
	tok, err := s.Bearer(secret)
	if err != nil || tok.Name != "camera-1" || len(tok.May) != 2 || !tok.Allows(request.RightReport) || !tok.Allows(request.RightMix) || tok.Allows(request.RightConfigure) || tok.Allows("") {
		t.Errorf("token %+v, %v", tok, err)
	}
	for name, may := range map[string][]request.Right{"none": nil, "king": {"everything"}, "empty": {""}} {
		if _, err := s.NewToken(name, may, noon); err == nil {
			t.Errorf("token %q with %v was made", name, may)
		}
	}
	if _, err := s.Paired(secret, noon); !errors.Is(err, ErrUnknown) {
		t.Errorf("a token passes for a session: %v", err)
	}
	if found, err := s.RevokeToken("camera-1"); !found || err != nil {
		t.Errorf("revoke: %v, %v", found, err)
	}
	if _, err := s.Bearer(secret); !errors.Is(err, ErrUnknown) {
		t.Errorf("a revoked token: %v", err)
	}
	if found, _ := s.RevokeToken("camera-1"); found {
		t.Error("a token was revoked twice")
	}
}

// TestRevokedAtOnce: a file replaced by one of the same length within one tick of the
// file system's clock is still seen.
func TestRevokedAtOnce(t *testing.T) {
	dir := t.TempDir()
	s, command := Open(dir), Open(dir)
	for range 20 {
		secret, err := command.NewToken("camera-1", []request.Right{request.RightReport}, noon)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Bearer(secret); err != nil {
			t.Fatalf("a new token is not known: %v", err)
		}
		if _, err := command.RevokeToken("camera-1"); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Bearer(secret); !errors.Is(err, ErrUnknown) {
			t.Fatalf("a token works after it was revoked: %v", err)
		}
	}
}

// TestNoChangeIsLost: stores that stand for processes change the file together.
func TestNoChangeIsLost(t *testing.T) {
	dir := t.TempDir()
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			s := Open(dir)
			for j := range 4 {
				if _, err := s.NewToken(fmt.Sprintf("t-%d-%d", i, j), []request.Right{request.RightMix}, noon); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	if tokens, err := Open(dir).Tokens(); err != nil || len(tokens) != 32 {
		t.Errorf("%d tokens, %v; want 32", len(tokens), err)
	}
}
