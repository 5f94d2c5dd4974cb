package mqtt

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// testBroker is a broker that can be stopped and started again on its port, with an
// empty store.
type testBroker interface {
	addr() string
	stop()
	start()
	settings() Settings
}

// brokers are the brokers that the publisher is tested against.
var brokers = map[string]func(t testing.TB) testBroker{
	"built-in":  newBuiltIn,
	"mosquitto": newMosquitto,
}

// everyBroker runs a test against each broker.
func everyBroker(t *testing.T, f func(t *testing.T, b testBroker)) {
	for name, start := range brokers {
		t.Run(name, func(t *testing.T) { f(t, start(t)) })
	}
}

type builtIn struct {
	t      testing.TB
	listen string
	guard  *guard // keeps the secret over a restart, as one run of the daemon does
	broker *Broker
}

func newBuiltIn(t testing.TB) testBroker { return newBuiltInFor(t, testSettings("").Lights...) }

// newBuiltInFor is one that knows these lights.
func newBuiltInFor(t testing.TB, lights ...Light) *builtIn {
	s := brokerSettings("127.0.0.1:0", true)
	s.Lights = lights
	b := &builtIn{t: t, listen: s.Listen, guard: newGuard(s, quietLog())}
	b.start()
	b.listen = b.broker.Addr()
	t.Cleanup(b.stop)
	return b
}

func (b *builtIn) addr() string       { return b.listen }
func (b *builtIn) settings() Settings { return b.broker.Own(testSettings("")) }

func (b *builtIn) start() {
	b.t.Helper()
	until(b.t, "the built-in broker to start", func() bool {
		broker, err := openBroker(context.Background(), brokerSettings(b.listen, true), b.guard, quietLog())
		b.broker = broker
		return err == nil
	})
}

func (b *builtIn) stop() {
	if err := b.broker.Close(); err != nil {
		b.t.Errorf("close the broker: %v", err)
	}
}

type mosquitto struct {
	t    testing.TB
	port int
	conf string
	cmd  *exec.Cmd
}

// peer returns the path of a program that some tests need, or skips the test.
func peer(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if os.Getenv("POTLIFED_PEERS") == "require" {
		t.Fatalf("%s is required and not there", name)
	}
	t.Skipf("%s is not there", name)
	return ""
}

func newMosquitto(t testing.TB) testBroker {
	peer(t, "mosquitto")
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	m := &mosquitto{t: t, port: l.Addr().(*net.TCPAddr).Port, conf: filepath.Join(t.TempDir(), "mosquitto.conf")}
	_ = l.Close()
	conf := fmt.Sprintf("listener %d 127.0.0.1\nallow_anonymous true\npersistence false\nlog_type none\n", m.port)
	if err := os.WriteFile(m.conf, []byte(conf), 0o600); err != nil {
		t.Fatal(err)
	}
	m.start()
	t.Cleanup(m.stop)
	return m
}

func (m *mosquitto) addr() string       { return fmt.Sprintf("127.0.0.1:%d", m.port) }
func (m *mosquitto) settings() Settings { return testSettings("mqtt://" + m.addr()) }

func (m *mosquitto) start() {
	m.t.Helper()
	m.cmd = exec.Command(peer(m.t, "mosquitto"), "-c", m.conf)
	if err := m.cmd.Start(); err != nil {
		m.t.Fatal(err)
	}
	until(m.t, "mosquitto to listen", func() bool {
		c, err := net.Dial("tcp", m.addr())
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	})
}

func (m *mosquitto) stop() {
	if m.cmd == nil {
		return
	}
	_ = m.cmd.Process.Kill()
	_ = m.cmd.Wait()
	m.cmd = nil
}

// rights writes rules for all clients and makes the broker go by them.
func (m *mosquitto) rights(rules string) {
	m.t.Helper()
	conf, err := os.ReadFile(m.conf)
	if err != nil {
		m.t.Fatal(err)
	}
	acl := filepath.Join(filepath.Dir(m.conf), "acl")
	if err := os.WriteFile(acl, []byte(rules), 0o600); err != nil {
		m.t.Fatal(err)
	}
	if !bytes.Contains(conf, []byte("acl_file")) {
		// Run by root, mosquitto would become another user, who may not read the file.
		conf = fmt.Appendf(conf, "user root\nacl_file %s\n", acl)
		if err := os.WriteFile(m.conf, conf, 0o600); err != nil {
			m.t.Fatal(err)
		}
		m.stop()
		m.start()
		return
	}
	if err := m.cmd.Process.Signal(syscall.SIGHUP); err != nil {
		m.t.Fatal(err)
	}
}

// until waits for a condition, looking often.
func until(t testing.TB, what string, ok func() bool) {
	t.Helper()
	deadline := time.Now().Add(20 * time.Second)
	for !ok() {
		if time.Now().After(deadline) {
			t.Fatalf("waited in vain for %s", what)
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// retainedBy asks the broker with mosquitto_sub for what it holds retained.
func (m *mosquitto) retained(filter string) map[string]string {
	m.t.Helper()
	out, err := exec.Command(peer(m.t, "mosquitto_sub"), "-h", "127.0.0.1", "-p", fmt.Sprint(m.port),
		"-t", filter, "-F", "%t %p", "--retained-only", "-W", "1").Output()
	if exit, ok := err.(*exec.ExitError); err != nil && (!ok || exit.ExitCode() != 27) { // 27: its time is over
		m.t.Fatalf("mosquitto_sub: %v", err)
	}
	held := map[string]string{}
	lines := bufio.NewScanner(bytes.NewReader(out))
	for lines.Scan() {
		topic, payload, _ := bytes.Cut(lines.Bytes(), []byte(" "))
		held[string(topic)] = string(payload)
	}
	return held
}

func (m *mosquitto) publish(args ...string) {
	m.t.Helper()
	args = append([]string{"-h", "127.0.0.1", "-p", fmt.Sprint(m.port)}, args...)
	if out, err := exec.Command(peer(m.t, "mosquitto_pub"), args...).CombinedOutput(); err != nil {
		m.t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
}
