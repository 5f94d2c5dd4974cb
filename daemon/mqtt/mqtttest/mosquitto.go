package mqtttest

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"potlifed/daemon/peers"
)

// Mosquitto is a mosquitto broker that can be stopped and started again on its port, with an
// empty store.
type Mosquitto struct {
	t    testing.TB
	port int
	conf string
	cmd  *exec.Cmd
}

// StartMosquitto starts a broker on a free port that accepts everybody, with further lines of
// configuration, and stops it with the test. Without mosquitto the test is skipped, see
// package peers.
func StartMosquitto(t testing.TB, lines ...string) *Mosquitto {
	t.Helper()
	peers.Program(t, "mosquitto")
	m := &Mosquitto{t: t, port: freePorts(t, 1)[0], conf: filepath.Join(t.TempDir(), "mosquitto.conf")}
	m.Configure("allow_anonymous true\n" + strings.Join(lines, "\n") + "\n")
	m.Start()
	t.Cleanup(m.Stop)
	return m
}

// Addr returns HOST:PORT.
func (m *Mosquitto) Addr() string { return fmt.Sprintf("127.0.0.1:%d", m.port) }

// Configure writes a configuration with further lines, which takes effect with the next
// Start. Run by root, mosquitto would become a user who may not read the test's files.
func (m *Mosquitto) Configure(lines string) {
	m.t.Helper()
	conf := fmt.Sprintf("user root\nlistener %d 127.0.0.1\npersistence false\nlog_type none\n%s", m.port, lines)
	if err := os.WriteFile(m.conf, []byte(conf), 0o600); err != nil {
		m.t.Fatal(err)
	}
}

// Start starts the broker and waits until it listens.
func (m *Mosquitto) Start() {
	m.t.Helper()
	m.cmd = exec.Command(peers.Program(m.t, "mosquitto"), "-c", m.conf)
	if err := m.cmd.Start(); err != nil {
		m.t.Fatal(err)
	}
	Until(m.t, "mosquitto to listen", func() bool {
		c, err := net.Dial("tcp", m.Addr())
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	})
}

// Stop kills the broker. It may be called more than once.
func (m *Mosquitto) Stop() {
	if m.cmd == nil {
		return
	}
	_ = m.cmd.Process.Kill()
	_ = m.cmd.Wait()
	m.cmd = nil
}

// Allow replaces the access rules of all clients. The first call restarts the broker.
func (m *Mosquitto) Allow(rules string) {
	m.t.Helper()
	acl := filepath.Join(filepath.Dir(m.conf), "acl")
	_, err := os.Stat(acl)
	first := errors.Is(err, os.ErrNotExist)
	if err := os.WriteFile(acl, []byte(rules), 0o600); err != nil {
		m.t.Fatal(err)
	}
	if first {
		m.Configure("allow_anonymous true\nacl_file " + acl + "\n")
		m.Stop()
		m.Start()
		return
	}
	if err := m.cmd.Process.Signal(syscall.SIGHUP); err != nil {
		m.t.Fatal(err)
	}
}

// Retained returns the retained payloads by topic, asked for with mosquitto_sub.
func (m *Mosquitto) Retained(filter string) map[string]string {
	m.t.Helper()
	out, err := exec.Command(peers.Program(m.t, "mosquitto_sub"), "-h", "127.0.0.1", "-p", fmt.Sprint(m.port),
		"-t", filter, "-F", "%t %p", "--retained-only", "-W", "1").Output()
	if exit, ok := err.(*exec.ExitError); err != nil && (!ok || exit.ExitCode() != 27) { // 27: its time is over
		m.t.Fatalf("mosquitto_sub: %v", err)
	}
	retained := map[string]string{}
	lines := bufio.NewScanner(bytes.NewReader(out))
	for lines.Scan() {
		topic, payload, _ := bytes.Cut(lines.Bytes(), []byte(" "))
		retained[string(topic)] = string(payload)
	}
	return retained
}

// Publish publishes with mosquitto_pub.
func (m *Mosquitto) Publish(args ...string) {
	m.t.Helper()
	args = append([]string{"-h", "127.0.0.1", "-p", fmt.Sprint(m.port)}, args...)
	if out, err := exec.Command(peers.Program(m.t, "mosquitto_pub"), args...).CombinedOutput(); err != nil {
		m.t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
}

// HashPasswords replaces the passwords of a file of users, NAME:PASSWORD a line, by their hashes.
func HashPasswords(t testing.TB, file string) {
	t.Helper()
	if out, err := exec.Command(peers.Program(t, "mosquitto_passwd"), "-U", file).CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v: %s", err, out)
	}
}
