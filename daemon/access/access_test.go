package access

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var noon = time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)

func opened(t *testing.T, dir string) *Store {
	t.Helper()
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestPairing(t *testing.T) {
	dir := t.TempDir()
	s := opened(t, dir)
	if s.HasPIN() {
		t.Error("a new store has a PIN")
	}
	if _, err := s.Pair("123456", "tablet", noon); !errors.Is(err, ErrNoPIN) {
		t.Errorf("pairing without a PIN: %v", err)
	}
	for _, bad := range []string{"", "12345", "12345a", "１２３４５６"} {
		if err := s.SetPIN(bad); err == nil {
			t.Errorf("PIN %q was taken", bad)
		}
	}
	other := opened(t, dir) // another process
	if err := other.SetPIN("902817"); err != nil {
		t.Fatal(err)
	}
	if !s.HasPIN() {
		t.Error("a PIN set by the command is not seen by the daemon")
	}
	secret, err := s.Pair("902817", "tablet", noon)
	if err != nil {
		t.Fatal(err)
	}
	if device, ok := other.Paired(secret, noon.Add(29*24*time.Hour)); !ok || device != "tablet" {
		t.Errorf("paired device %q, %v", device, ok)
	}
	if _, ok := s.Paired(secret, noon.Add(30*24*time.Hour)); ok {
		t.Error("a session lasts longer than 30 days")
	}
	if _, ok := s.Paired(secret+"x", noon); ok {
		t.Error("a wrong secret was taken")
	}
	list, err := s.Sessions(noon)
	if err != nil || len(list) != 1 {
		t.Fatalf("sessions %v, %v", list, err)
	}
	if found, err := s.Unpair(list[0].ID); !found || err != nil {
		t.Errorf("unpair: %v, %v", found, err)
	}
	if _, ok := s.Paired(secret, noon); ok {
		t.Error("an unpaired device is still paired")
	}
	b, err := os.ReadFile(filepath.Join(dir, FileName))
	if err != nil || strings.Contains(string(b), "902817") || strings.Contains(string(b), secret) {
		t.Errorf("the file holds a secret, or cannot be read (%v)", err)
	}
}

func TestWrongPINsHaveToWait(t *testing.T) {
	s := opened(t, t.TempDir())
	if err := s.SetPIN("902817"); err != nil {
		t.Fatal(err)
	}
	for range wrongAllowed {
		if _, err := s.Pair("000000", "x", noon); !errors.Is(err, ErrWrongPIN) {
			t.Fatalf("a wrong PIN: %v", err)
		}
	}
	if _, err := s.Pair("902817", "x", noon); !errors.Is(err, ErrTooOften) {
		t.Errorf("after %d wrong ones the right PIN at once: %v", wrongAllowed, err)
	}
	if _, err := s.Pair("902817", "x", noon.Add(wrongWait)); err != nil {
		t.Errorf("a minute later: %v", err)
	}
}

func TestANewPINUnpairs(t *testing.T) {
	s := opened(t, t.TempDir())
	if err := s.SetPIN("902817"); err != nil {
		t.Fatal(err)
	}
	secret, err := s.Pair("902817", "tablet", noon)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.SetPIN("1234567"); err != nil {
		t.Fatal(err)
	}
	if _, ok := s.Paired(secret, noon); ok {
		t.Error("a device is still paired after the PIN was changed")
	}
}

func TestTokens(t *testing.T) {
	s := opened(t, t.TempDir())
	secret, err := s.NewToken("camera-1", []Right{Report}, noon)
	if err != nil || len(secret) < 43 {
		t.Fatalf("token %q, %v", secret, err)
	}
	if tok, ok := s.Bearer(secret); !ok || tok.Name != "camera-1" || len(tok.May) != 1 {
		t.Errorf("token %+v, %v", tok, ok)
	}
	for name, may := range map[string][]Right{"camera-1": {Report}, "": {Report}, "none": nil, "king": {"everything"}} {
		if _, err := s.NewToken(name, may, noon); err == nil {
			t.Errorf("token %q with %v was made", name, may)
		}
	}
	if found, err := s.RevokeToken("camera-1"); !found || err != nil {
		t.Errorf("revoke: %v, %v", found, err)
	}
	if _, ok := s.Bearer(secret); ok {
		t.Error("a revoked token works")
	}
	if found, _ := s.RevokeToken("camera-1"); found {
		t.Error("a token was revoked twice")
	}
}

func TestASpoiledFileLetsNobodyIn(t *testing.T) {
	dir := t.TempDir()
	s := opened(t, dir)
	secret, err := s.NewToken("a", []Right{Mix}, noon)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, FileName), []byte("{torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	if !s.HasPIN() {
		t.Error("a spoiled file counts as one without a PIN")
	}
	if _, ok := s.Bearer(secret); ok {
		t.Error("a spoiled file knows a token")
	}
	if _, err := Open(dir); err == nil || !strings.Contains(err.Error(), "remove it") {
		t.Errorf("opening a spoiled file: %v", err)
	}
}

func FuzzPINHash(f *testing.F) {
	f.Add("$argon2id$v=19$m=8,t=1,p=1$AAAA$AAAA", "123456")
	f.Add("", "")
	f.Fuzz(func(t *testing.T, hashed, pin string) {
		if strings.Contains(hashed, "m=") && len(hashed) > 60 {
			t.Skip("a real cost; what is fuzzed is the reading")
		}
		isPIN(hashed, pin)
	})
}
