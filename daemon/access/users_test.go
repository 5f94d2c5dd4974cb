package access

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
)

// A user of the built-in broker is no token of HTTP, and the other way round.
func TestUsersOfTheBroker(t *testing.T) {
	dir := t.TempDir()
	s := Open(dir)
	password, err := s.NewUser("lamp-1", nil, []string{"light-1"}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	secret, err := s.NewToken("camera-1", []request.Right{request.RightReport}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	u, err := Open(dir).User("lamp-1")
	if err != nil || !u.Is(password) || u.Is(secret) || u.Is("") || u.Allows(request.RightReport) || len(u.Lights) != 1 {
		t.Errorf("user %+v, %v", u, err)
	}
	if _, err := s.Bearer(password); !errors.Is(err, ErrUnknown) {
		t.Errorf("a password of the broker opens HTTP: %v", err)
	}
	if _, err := s.User("camera-1"); !errors.Is(err, ErrUnknown) {
		t.Errorf("a token of HTTP opens the broker: %v", err)
	}
	raw, err := os.ReadFile(filepath.Join(dir, FileName))
	if err != nil || strings.Contains(string(raw), password) {
		t.Errorf("the password is in the file, or %v", err)
	}
	for _, bad := range []struct{ name, light string }{{"lamp-1", "light-1"}, {"camera-1", "light-1"}, {"mqtt", "light-1"}, {"A", "light-1"}, {"b", "#"}, {"b", ""}} {
		if _, err := s.NewUser(bad.name, nil, []string{bad.light}, time.Now()); err == nil {
			t.Errorf("%+v was made", bad)
		}
	}
	if _, err := s.NewUser("c", []request.Right{"everything"}, nil, time.Now()); err == nil {
		t.Error("a right was made up")
	}
	if found, err := s.RevokeToken("lamp-1"); !found || err != nil {
		t.Error(found, err)
	}
	if _, err := s.User("lamp-1"); !errors.Is(err, ErrUnknown) {
		t.Errorf("revoked, and %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, FileName), []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := s.User("lamp-1"); err == nil || errors.Is(err, ErrUnknown) {
		t.Errorf("a spoilt file says %v", err)
	}
}
