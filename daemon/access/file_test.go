package access

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"potlifed/daemon/request"
)

func TestTheFileHoldsNoSecretAndIsForItsOwner(t *testing.T) {
	s, dir := withPIN(t)
	_, session := pair(t, s, "tablet")
	token, err := s.NewToken("camera-1", []request.Right{request.RightReport}, noon)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{goodPIN, session, token} {
		if strings.Contains(string(raw), secret) {
			t.Errorf("the file holds the secret %q", secret)
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 1 {
		t.Errorf("files left behind: %v, %v", entries, err)
	}
	if info, err := os.Stat(filepath.Join(dir, FileName)); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
}

// TestAModeThatWasWiderIsNarrowed, and a file that a crash left is no hindrance.
func TestAModeThatWasWiderIsNarrowed(t *testing.T) {
	s, dir := withPIN(t)
	if err := os.Chmod(s.path(), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "."+FileName+"-7.partial"), []byte("half"), 0o644); err != nil {
		t.Fatal(err)
	}
	pair(t, s, "tablet")
	if list, err := os.ReadDir(dir); err != nil || len(list) != 1 {
		t.Errorf("%v, %v", list, err)
	}
	if info, err := os.Stat(s.path()); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
}

func TestASpoiltFileLetsNobodyIn(t *testing.T) {
	s, dir := withPIN(t)
	_, session := pair(t, s, "tablet")
	secret, err := s.NewToken("a", []request.Right{request.RightMix}, noon)
	if err != nil {
		t.Fatal(err)
	}
	const hash = `"made":"2026-06-12T12:00:00Z","hash":"00"`
	for name, text := range map[string]string{
		"torn":            `{"pin":`,
		"empty":           ``,
		"more":            `{} {}`,
		"another shape":   `{"pin":7}`,
		"unknown field":   `{"pins":[]}`,
		"no hash":         `{"pin":"902817"}`,
		"hash that costs": `{"pin":"$argon2id$v=19$m=4194304,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAA"}`,
		"unknown right":   `{"tokens":[{"name":"a","may":["everything"],` + hash + `}]}`,
		"reserved name":   `{"tokens":[{"name":"local","may":["mix"],` + hash + `}]}`,
		"huge":            `{"pin":"` + strings.Repeat(" ", fileBytes) + `"}`,
	} {
		if err := os.WriteFile(filepath.Join(dir, FileName), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		faults := map[string]error{"check": s.Check()}
		_, faults["PIN"] = s.HasPIN()
		_, faults["token"] = s.Bearer(secret)
		_, faults["session"] = s.Paired(session, noon)
		_, _, faults["pair"] = s.Pair(goodPIN, "tablet", "", Local, noon)
		_, faults["token made"] = s.NewToken("b", []request.Right{request.RightMix}, noon)
		faults["first look"] = Open(dir).Check()
		for what, err := range faults {
			var file *FileError
			if !errors.As(err, &file) || file.Path != s.path() {
				t.Errorf("%s: %s: %v", name, what, err)
			}
		}
		if now, err := os.ReadFile(s.path()); err != nil || string(now) != text {
			t.Errorf("%s: what was there was replaced", name)
		}
	}
}

// TestADirectoryThatCannotBeWritten: who is in stays in, nobody else gets in, and the
// reason is the system's.
func TestADirectoryThatCannotBeWritten(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Skip("root may write everywhere")
	}
	s, dir := withPIN(t)
	_, secret := pair(t, s, "tablet")
	if err := os.Chmod(dir, 0o500); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.Chmod(dir, 0o700) })
	if _, _, err := s.Pair(goodPIN, "phone", "", Local, noon); !errors.Is(err, fs.ErrPermission) {
		t.Errorf("pairing: %v", err)
	}
	if _, err := s.Paired(secret, noon); err != nil {
		t.Errorf("a device that was paired before: %v", err)
	}
}

// TestAFileThatCannotBeWritten is the same where even root is refused: what is in the
// way is a directory.
func TestAFileThatCannotBeWritten(t *testing.T) {
	s, dir := withPIN(t)
	p, secret := pair(t, s, "tablet")
	if err := os.MkdirAll(filepath.Join(dir, "."+FileName+"-7.partial", "full"), 0o700); err != nil {
		t.Fatal(err)
	}
	var file *FileError
	if _, _, err := s.Pair(goodPIN, "phone", "", Local, noon); !errors.As(err, &file) {
		t.Errorf("pairing: %v", err)
	}
	if _, err := s.Unpair(p.ID); !errors.As(err, &file) {
		t.Errorf("unpairing: %v", err)
	}
	if _, err := s.Paired(secret, noon); err != nil {
		t.Errorf("a device that was paired before: %v", err)
	}
}

func TestADirectoryThatIsNone(t *testing.T) {
	s := Open(filepath.Join(t.TempDir(), "missing"))
	if _, err := s.NewToken("a", []request.Right{request.RightMix}, noon); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a token in no directory: %v", err)
	}
	if has, err := s.HasPIN(); has || err != nil {
		t.Errorf("no file: %v, %v", has, err)
	}
}

func FuzzFile(f *testing.F) {
	f.Add([]byte(`{"pin":"$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAA"}`))
	f.Add([]byte(`{"tokens":[{"name":"a","may":["mix"],"made":"2026-06-12T12:00:00Z","hash":"00"}]}`))
	f.Add([]byte(`{"tokens":[{"name":"lamp-1","may":null,"made":"2026-06-12T12:00:00Z","hash":"00","mqtt":true,"lights":["light-1"]}]}`))
	f.Add([]byte(`{"tokens":[{"name":"a","made":"2026-06-12T12:00:00Z","hash":"00"}]}`))
	f.Add([]byte(`{"sessions":[{"id":"a","device":"b","made":"2026-06-12T12:00:00Z","until":"2026-06-13T12:00:00Z","hash":""}]}`))
	f.Fuzz(func(t *testing.T, raw []byte) {
		c, err := parse(raw)
		if err != nil {
			return
		}
		for _, tok := range c.Tokens {
			if len(tok.May) == 0 && !tok.MQTT || len(tok.Lights) > 0 && !tok.MQTT || tok.Name == Local {
				t.Errorf("token %+v", tok)
			}
		}
		if c.PIN != "" {
			if _, err := parsePHC(c.PIN); err != nil {
				t.Error(err)
			}
		}
	})
}
