package main

import (
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"potlifed/daemon/peers"
	"strings"
	"testing"
	"time"
)

// mosquitto is a real broker with a real subscriber.
type mosquitto struct {
	t    testing.TB
	port int
	conf string
	cmd  *exec.Cmd
	seen *lines // TOPIC\tRETAINED\tPAYLOAD, as it came
}

func newMosquitto(t testing.TB) *mosquitto {
	t.Helper()
	peers.Program(t, "mosquitto_sub")
	peers.Program(t, "mosquitto_pub")
	m := &mosquitto{t: t, port: freePort(t), seen: newLines()}
	m.conf = filepath.Join(t.TempDir(), "mosquitto.conf")
	if err := os.WriteFile(m.conf, fmt.Appendf(nil, "listener %d 127.0.0.1\nallow_anonymous true\nmax_keepalive 3600\n", m.port), 0o600); err != nil {
		t.Fatal(err)
	}
	m.start()
	sub := exec.Command("mosquitto_sub", "-h", "127.0.0.1", "-p", fmt.Sprint(m.port), "-q", "1", "-t", "potlife/#", "-F", "%t\t%r\t%p")
	out, err := sub.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := sub.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() {
		m.seen.read(out)
		_ = sub.Wait()
		close(ended)
	}()
	t.Cleanup(func() {
		_ = sub.Process.Kill()
		<-ended
	})
	return m
}

// start starts the broker and waits until it takes connections.
func (m *mosquitto) start() {
	m.t.Helper()
	m.cmd = exec.Command(peers.Program(m.t, "mosquitto"), "-c", m.conf)
	if err := m.cmd.Start(); err != nil {
		m.t.Fatal(err)
	}
	m.t.Cleanup(func() {
		_ = m.cmd.Process.Kill()
		_ = m.cmd.Wait()
	})
	eventually(m.t, "mosquitto to listen", func() (bool, any) {
		c, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", m.port))
		if err != nil {
			return false, err
		}
		return c.Close() == nil, nil
	})
}

func (m *mosquitto) configuration() string {
	return fmt.Sprintf("mqtt: {url: \"mqtt://127.0.0.1:%d\", commands: true}\n", m.port)
}

// wait waits for a message on a topic, from a given place on, whose payload fits.
func (m *mosquitto) wait(what, topic string, from int, fits func(payload string) bool) (payload string) {
	m.t.Helper()
	_, line := m.seen.wait(m.t, what+" on "+topic, from, func(line string) bool {
		t, rest, _ := strings.Cut(line, "\t")
		_, payload, _ := strings.Cut(rest, "\t")
		return t == topic && fits(payload)
	})
	return line[strings.LastIndex(line, "\t")+1:]
}

// publish sends a command with mosquitto's own client.
func (m *mosquitto) publish(topic string, payload any) {
	m.t.Helper()
	b, err := json.Marshal(payload)
	if err != nil {
		m.t.Fatal(err)
	}
	out, err := exec.Command("mosquitto_pub", "-h", "127.0.0.1", "-p", fmt.Sprint(m.port), "-q", "1", "-t", topic, "-m", string(b)).CombinedOutput()
	if err != nil {
		m.t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
}

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// decoded reads a payload's JSON.
func decoded[T any](t testing.TB, payload string) T {
	t.Helper()
	var v T
	if err := json.Unmarshal([]byte(payload), &v); err != nil {
		t.Fatalf("payload %s: %v", payload, err)
	}
	return v
}

// rightNow is the time that a command carries.
func rightNow() string { return time.Now().UTC().Format(time.RFC3339Nano) }
