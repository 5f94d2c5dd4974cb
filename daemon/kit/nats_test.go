package kit

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/peers"
)

// TestNATS: a server with the plant's users lets a bench publish below its own topics only, and nobody in without a password.
func TestNATS(t *testing.T) {
	if os.Getenv("POTLIFED_CLUSTERS") == "" {
		t.Skip("POTLIFED_CLUSTERS is not set")
	}
	server, pub, sub := peers.Program(t, "nats-server"), peers.Program(t, "mosquitto_pub"), peers.Program(t, "mosquitto_sub")
	p := plant(t)
	if _, err := p.Write(); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := fmt.Sprint(l.Addr().(*net.TCPAddr).Port)
	l.Close()
	conf := filepath.Join(p.Dir, "server.conf") // a path to include is relative to its file
	text := fmt.Sprintf("server_name: one\nlisten: \"127.0.0.1:-1\"\njetstream { store_dir: %q }\nmqtt { listen: \"127.0.0.1:%s\" }\ninclude \"nats.conf\"\n", t.TempDir(), port)
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	broker := exec.Command(server, "-c", conf)
	if err := broker.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = broker.Process.Kill(); _ = broker.Wait() }()
	as := func(program, user, of string, args ...string) (string, error) {
		password, err := os.ReadFile(filepath.Join(p.Dir, "benches", of, passwordFile))
		if err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(program, append([]string{"-h", "127.0.0.1", "-p", port, "-u", user, "-P", strings.TrimSpace(string(password)), "-q", "1"}, args...)...).CombinedOutput()
		return string(out), err
	}
	const own = "plant/north/bench-1/availability"
	for tries := 0; ; tries++ {
		if _, err := as(pub, "bench-1", "bench-1", "-r", "-t", own, "-m", "online"); err == nil {
			break
		} else if tries == 50 {
			t.Fatal(err)
		}
		time.Sleep(100 * time.Millisecond)
	}
	if out, err := as(pub, "bench-1", "bench-2", "-t", own, "-m", "x"); err == nil {
		t.Errorf("bench-1 came in with the password of bench-2: %s", out)
	}
	// The server acknowledges what it does not allow.
	_, _ = as(pub, "bench-1", "bench-1", "-r", "-t", "plant/north/bench-2/availability", "-m", "online")
	out, _ := as(sub, "bench-2", "bench-2", "-t", "plant/north/#", "-F", "%t %p", "-W", "3") // ends by its time
	if !strings.Contains(out, own+" online") || strings.Contains(out, "bench-2/availability") {
		t.Errorf("the server holds %q, want the message of bench-1 below its own topics alone", out)
	}
}
