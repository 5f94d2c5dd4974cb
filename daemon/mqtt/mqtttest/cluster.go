package mqtttest

import (
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/peers"
)

// Cluster is a broker that runs as three processes, each of which can be killed, suspended and
// started again with what it has stored.
type Cluster struct {
	t     testing.TB
	ports []int // of MQTT, by node
	start func(node int) *exec.Cmd
	nodes []*exec.Cmd
	// rabbitMQ is set for nodes that are groups of processes, join the first of them, and stay alone after they hung.
	rabbitMQ bool
	alone    []bool     // by node: it must be started again
	lines    [][]*Relay // from each node to each other; nil where nodes find each other by themselves
}

// CanPart reports whether nodes can be parted from each other.
func (c *Cluster) CanPart() bool { return c.lines != nil }

// Part cuts a node off from the others, which go on together, or ends that.
func (c *Cluster) Part(node int, parted bool) {
	for from, lines := range c.lines {
		for to, line := range lines {
			switch {
			case line == nil || from != node && to != node:
			case parted:
				line.Cut()
			default:
				line.Mend()
			}
		}
	}
}

// URLs returns mqtt://HOST:PORT of each node.
func (c *Cluster) URLs() (urls []string) {
	for _, port := range c.ports {
		urls = append(urls, fmt.Sprintf("mqtt://127.0.0.1:%d", port))
	}
	return urls
}

// Kill ends a node at once.
func (c *Cluster) Kill(node int) {
	if cmd := c.nodes[node]; cmd != nil {
		c.signal(node, syscall.SIGKILL)
		_ = cmd.Wait()
		c.nodes[node] = nil
	}
}

// Suspend lets a node hang: it accepts connections and says nothing.
func (c *Cluster) Suspend(node int) { c.signal(node, syscall.SIGSTOP) }

// Resume ends Suspend.
func (c *Cluster) Resume(node int) {
	c.signal(node, syscall.SIGCONT)
	c.alone[node] = c.rabbitMQ
}

func (c *Cluster) signal(node int, s syscall.Signal) {
	c.t.Helper()
	pid := c.nodes[node].Process.Pid
	if c.rabbitMQ {
		pid = -pid
	}
	if err := syscall.Kill(pid, s); err != nil {
		c.t.Fatal(err)
	}
}

// Start starts a node that was killed.
func (c *Cluster) Start(node int) {
	c.t.Helper()
	c.nodes[node] = c.start(node)
	if err := c.nodes[node].Start(); err != nil {
		c.t.Fatal(err)
	}
}

// Settle waits until each node accepts a client, and delivers to each other what it is told: nodes that
// were parted need a while for that. It starts a node again that would stay alone.
func (c *Cluster) Settle(t testing.TB) {
	t.Helper()
	for node, alone := range c.alone {
		if alone {
			c.Kill(node)
			c.Start(node)
			c.alone[node] = false
		}
	}
	c.accept(t, c.ports)
	heard := make(chan string, 1000)
	for i, url := range c.URLs() {
		reader := paho.NewClient(paho.NewClientOptions().AddBroker(url).SetClientID(fmt.Sprintf("settled-%d", i)).
			SetOnConnectHandler(func(client paho.Client) {
				client.Subscribe("settled/#", 0, func(_ paho.Client, m paho.Message) {
					select {
					case heard <- fmt.Sprint(i, " hears ", m.Topic()):
					default:
					}
				})
			}).SetConnectRetry(true).SetConnectRetryInterval(200 * time.Millisecond).SetMaxReconnectInterval(time.Second))
		Done(t, "connect to each node", reader.Connect())
		defer reader.Disconnect(0)
		again := time.NewTicker(500 * time.Millisecond)
		defer again.Stop()
		told := make(chan struct{})
		defer close(told)
		go func() {
			for {
				reader.Publish(fmt.Sprint("settled/", i), 0, false, "")
				select {
				case <-again.C:
				case <-told:
					return
				}
			}
		}()
	}
	late := time.After(2 * time.Minute)
	for pairs := map[string]bool{}; len(pairs) < len(c.ports)*len(c.ports); {
		select {
		case pair := <-heard:
			pairs[pair] = true
		case <-late:
			t.Fatalf("not every node delivers to every other: %v", pairs)
		}
	}
}

// accept waits until the node at each of these ports accepts a client.
func (c *Cluster) accept(t testing.TB, ports []int) {
	t.Helper()
	for _, port := range ports {
		deadline := time.Now().Add(3 * Patience) // three nodes start at once, beside other work
		for !accepts(port) {
			if time.Now().After(deadline) {
				t.Fatalf("the node on port %d accepts no client", port)
			}
			time.Sleep(100 * time.Millisecond)
		}
	}
}

// accepts reports whether a node answers a client that connects.
func accepts(port int) bool {
	conn, err := net.DialTimeout("tcp", fmt.Sprintf("127.0.0.1:%d", port), time.Second)
	if err != nil {
		return false
	}
	defer func() { _ = conn.Close() }()
	_ = conn.SetDeadline(time.Now().Add(3 * time.Second))
	// CONNECT with a clean session, a keep-alive of 10 s and the id "settled" (MQTT 3.1.1, 3.1).
	if _, err := conn.Write([]byte("\x10\x13\x00\x04MQTT\x04\x02\x00\x0a\x00\x07settled")); err != nil {
		return false
	}
	answer := make([]byte, 4)
	_, err = conn.Read(answer)
	return err == nil && answer[0] == 0x20 && answer[3] == 0
}

// StartNATS starts three NATS servers with JetStream, which keeps their retained messages. They tell each other an address
// where nothing listens, since they would otherwise connect past the relays that part them. Without stream_replicas a client
// that comes before the nodes know each other has all sessions kept on one node, and none can connect while that is away.
func StartNATS(t testing.TB) *Cluster {
	t.Helper()
	program := peers.Program(t, "nats-server")
	dir := t.TempDir()
	ports := freePorts(t, 9)
	c := &Cluster{t: t, ports: ports[:3], nodes: make([]*exec.Cmd, 3)}
	c.lines = make([][]*Relay, 3)
	for i := range 3 {
		var routes []string
		for j := range 3 {
			var line *Relay
			if i != j {
				line = NewRelay(t, fmt.Sprintf("127.0.0.1:%d", ports[6+j]))
				routes = append(routes, "nats://"+line.Addr())
			}
			c.lines[i] = append(c.lines[i], line)
		}
		conf := fmt.Sprintf(`server_name: n%[1]d
listen: "127.0.0.1:%[2]d"
jetstream { store_dir: %[3]q, max_mem: 64M, max_file: 256M }
cluster { name: plant, listen: "127.0.0.1:%[4]d", routes: [%[5]s], no_advertise: true, advertise: "127.0.0.1:1" }
mqtt { listen: "127.0.0.1:%[6]d", stream_replicas: 3 }
`, i+1, ports[3+i], filepath.Join(dir, fmt.Sprint("store-", i)), ports[6+i], strings.Join(routes, ", "), ports[i])
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprint(i, ".conf")), []byte(conf), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	c.start = func(node int) *exec.Cmd {
		return exec.Command(program, "-c", filepath.Join(dir, fmt.Sprint(node, ".conf")))
	}
	c.run()
	return c
}

// run starts all nodes, and ends them with the test.
func (c *Cluster) run() {
	c.t.Helper()
	c.t.Cleanup(func() {
		for i, cmd := range c.nodes {
			if cmd != nil {
				c.Kill(i)
			}
		}
	})
	c.alone = make([]bool, len(c.nodes))
	for i := range c.nodes {
		c.Start(i)
		if i == 0 && c.rabbitMQ {
			c.accept(c.t, c.ports[:1]) // nodes that start at once wait for each other, one of ten for two minutes
		}
	}
	c.Settle(c.t)
}

// freePorts returns ports that nothing listens on. They are below those that Linux gives to connections and to
// a connection without a port of its own, 32768 to 60999: one of these may be taken again before a node listens on it.
func freePorts(t testing.TB, n int) (ports []int) {
	t.Helper()
	for tries := 0; len(ports) < n; tries++ {
		port := 20000 + rand.IntN(12000)
		l, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", port))
		if err != nil {
			if tries > 100*n {
				t.Fatal(err)
			}
			continue
		}
		defer func() { _ = l.Close() }()
		ports = append(ports, port)
	}
	return ports
}
