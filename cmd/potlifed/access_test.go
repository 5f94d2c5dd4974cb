package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"potlifed/daemon/access"
)

// accessShop writes a configuration whose data directory exists.
func accessShop(t *testing.T) (file, dataDir string) {
	t.Helper()
	dataDir = t.TempDir()
	file = filepath.Join(t.TempDir(), "potlifed.yaml")
	text := "bench: bench-1\ndata_dir: " + dataDir + `
scales:
  - {id: scale-1, port: "tcp://127.0.0.1:1"}
sensors:
  - {id: bench-air, zone: bench, path: /nowhere}
inks:
  - {id: dial-satin, hardener_ratio: "5:1", pot_life: {about: 5h}}
`
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file, dataDir
}

// called runs the whole program.
func called(t *testing.T, in string, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(t.Context(), args, strings.NewReader(in), &o, &e)
	return code, o.String(), e.String()
}

func TestPIN(t *testing.T) {
	file, dir := accessShop(t)
	if code, out, errs := called(t, "902817\nrest\n", "pin", "--config", file); code != exitDone || out != "the PIN is set\n" {
		t.Fatalf("%d %q %q", code, out, errs)
	}
	store := access.Open(dir)
	if _, _, err := store.Pair("902817", "tablet", "", access.Local, time.Now()); err != nil {
		t.Fatal(err)
	}
	if code, out, _ := called(t, "  7531924\r\n", "pin", "--config", file); code != exitDone || !strings.Contains(out, "1 paired device") {
		t.Errorf("%d %q: what was paired is not spoken of", code, out)
	}
	for in, want := range map[string]string{"": "first line", "\n902817\n": "first line", "12345": "six digits", "123456": "tries first", "90281x": "digits"} {
		want = strings.Replace(want, "six", "6", 1)
		if code, _, errs := called(t, in, "pin", "--config", file); code != exitUsage || !strings.Contains(errs, want) {
			t.Errorf("PIN %q: %d %q, want %q", in, code, errs, want)
		}
	}
	for _, args := range [][]string{{"pin"}, {"pin", "902817", "--config", file}, {"pin", "--config", file + "x"}} {
		if code, _, errs := called(t, "902817", args...); code != exitUsage || errs == "" {
			t.Errorf("%v: %d %q", args, code, errs)
		}
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := called(t, "902817", "pin", "--config", file); code != exitFault || !strings.Contains(errs, "start the service once") {
		t.Errorf("no data_dir: %d %q", code, errs)
	}
}

// TestPINOnATerminal types on a real pseudo-terminal: asked twice, shown never.
func TestPINOnATerminal(t *testing.T) {
	for name, test := range map[string]struct {
		second string
		code   int
	}{"the same": {"902817", exitDone}, "another": {"902818", exitUsage}} {
		file, dir := accessShop(t)
		keyboard, terminal, err := pty.Open()
		if err != nil {
			t.Skip("no pseudo-terminal: ", err)
		}
		var out bytes.Buffer
		done := make(chan int, 1)
		go func() { done <- run(t.Context(), []string{"pin", "--config", file}, terminal, &out, terminal) }()
		screen := bufio.NewReader(keyboard)
		shown := until(t, screen, "New PIN: ")
		noEcho(t, terminal)
		keyboard.WriteString("902817\n")
		shown += until(t, screen, "Once more: ")
		noEcho(t, terminal)
		keyboard.WriteString(test.second + "\n")
		code := <-done
		terminal.Close()
		rest, _ := io.ReadAll(screen) // ends with an error, as the terminal is closed
		keyboard.Close()
		if shown += string(rest); code != test.code {
			t.Errorf("%s: exit code %d, want %d: %s", name, code, test.code, shown)
		}
		if strings.Contains(shown, "9028") {
			t.Errorf("%s: the PIN was shown: %q", name, shown)
		}
		if set, err := access.Open(dir).HasPIN(); err != nil || set != (test.code == exitDone) {
			t.Errorf("%s: a PIN is set: %v, %v", name, set, err)
		}
	}
}

// until reads up to the end of a prompt.
func until(t *testing.T, screen *bufio.Reader, prompt string) string {
	t.Helper()
	var shown strings.Builder
	for !strings.HasSuffix(shown.String(), prompt) {
		b, err := screen.ReadByte()
		if err != nil {
			t.Fatalf("no %q in %q: %v", prompt, shown.String(), err)
		}
		shown.WriteByte(b)
	}
	return shown.String()
}

// noEcho waits until the terminal does not show what is typed, as a person does who
// needs longer than the program.
func noEcho(t *testing.T, terminal *os.File) {
	t.Helper()
	for deadline := time.Now().Add(patience); time.Now().Before(deadline); runtime.Gosched() {
		settings, err := unix.IoctlGetTermios(int(terminal.Fd()), unix.TCGETS)
		if err != nil {
			t.Fatal(err)
		}
		if settings.Lflag&unix.ECHO == 0 {
			return
		}
	}
	t.Fatal("the terminal goes on showing what is typed")
}

func TestToken(t *testing.T) {
	file, dir := accessShop(t)
	code, secret, errs := called(t, "", "token", "--config", file, "--name", "camera-1", "--may", "report,mix", "--may", "acknowledge")
	if code != exitDone || len(strings.TrimSpace(secret)) != 43 || !strings.Contains(errs, "this once") {
		t.Fatalf("%d %q %q", code, secret, errs)
	}
	tok, err := access.Open(dir).Bearer(strings.TrimSpace(secret))
	if err != nil || tok.Name != "camera-1" || len(tok.May) != 3 {
		t.Errorf("token %+v, %v", tok, err)
	}
	code, out, _ := called(t, "", "token", "list", "--config", file)
	if code != exitDone || !strings.Contains(out, "camera-1  HTTP  report, mix, acknowledge") || strings.Contains(out, tok.Hash) {
		t.Errorf("%d %q", code, out)
	}
	code, out, _ = called(t, "", "token", "list", "--json", "--config", file)
	var list struct{ Tokens []map[string]any }
	if err := json.Unmarshal([]byte(out), &list); err != nil || code != exitDone || len(list.Tokens) != 1 || len(list.Tokens[0]) != 3 || list.Tokens[0]["name"] != "camera-1" {
		t.Errorf("%d %v %q", code, err, out)
	}
	for _, bad := range [][]string{
		{"token", "--config", file}, {"token", "--config", file, "--name", "a"}, {"token", "--config", file, "--may", "mix"},
		{"token", "--config", file, "--name", "a", "--may", "everything"}, {"token", "--config", file, "--name", "A b", "--may", "mix"},
		{"token", "--config", file, "--name", "camera-1", "--may", "mix"}, {"token", "make", "--config", file}, {"token", "revoke", "--config", file},
		{"token", "list"}, {"token", "list", "camera-1", "--config", file},
	} {
		if code, out, errs := called(t, "", bad...); code != exitUsage || out != "" || errs == "" {
			t.Errorf("%v: %d %q %q", bad, code, out, errs)
		}
	}
	if code, out, _ := called(t, "", "token", "revoke", "camera-1", "--config", file); code != exitDone || out != "camera-1 is revoked\n" {
		t.Errorf("%d %q", code, out)
	}
	if code, _, errs := called(t, "", "token", "revoke", "camera-1", "--config", file); code != exitFault || !strings.Contains(errs, "no token") {
		t.Errorf("revoked twice: %d %q", code, errs)
	}
	if code, out, _ := called(t, "", "token", "list", "--config", file); code != exitDone || out != "there are no tokens\n" {
		t.Errorf("%d %q", code, out)
	}
	if code, out, _ := called(t, "", "token", "list", "--json", "--config", file); code != exitDone || out != "{\"tokens\":[]}\n" {
		t.Errorf("%d %q", code, out)
	}
	if err := os.WriteFile(filepath.Join(dir, access.FileName), []byte("{torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := called(t, "", "token", "list", "--config", file); code != exitFault || !strings.Contains(errs, "remove it") {
		t.Errorf("spoilt: %d %q", code, errs)
	}
}
