package mqtttest

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"potlifed/daemon/peers"
)

// rabbitServer is the server of Debian's package without the wrapper that changes the user.
const rabbitServer = "/usr/lib/rabbitmq/bin/rabbitmq-server"

// StartRabbitMQ starts three RabbitMQ nodes with their MQTT plugin, below a folder of the test and
// with a name server of their own.
func StartRabbitMQ(t testing.TB) *Cluster {
	t.Helper()
	peers.Program(t, rabbitServer)
	dir := t.TempDir()
	ports := freePorts(t, 10)
	c := &Cluster{t: t, ports: ports[:3], nodes: make([]*exec.Cmd, 3), rabbitMQ: true}
	names := make([]string, 3)
	for i := range names {
		names[i] = fmt.Sprintf("r%d-%d@localhost", i+1, ports[9])
	}
	if err := os.WriteFile(filepath.Join(dir, ".erlang.cookie"), []byte("a cookie of the test"), 0o400); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "plugins"), []byte("[rabbitmq_mqtt].\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for i := range names {
		conf := fmt.Sprintf(`listeners.tcp.1 = 127.0.0.1:%d
mqtt.listeners.tcp.1 = 127.0.0.1:%d
mqtt.allow_anonymous = true
cluster_formation.peer_discovery_backend = classic_config
cluster_formation.randomized_startup_delay_range.min = 0
cluster_formation.randomized_startup_delay_range.max = 0
cluster_formation.discovery_retry_limit = 1
cluster_formation.classic_config.nodes.1 = %s
cluster_formation.classic_config.nodes.2 = %s
cluster_formation.classic_config.nodes.3 = %s
`, ports[3+i], ports[i], names[0], names[1], names[2])
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprint(i, ".conf")), []byte(conf), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	c.start = func(node int) *exec.Cmd {
		cmd := exec.Command(rabbitServer)
		cmd.Env = append(os.Environ(), "HOME="+dir, "RABBITMQ_NODENAME="+names[node],
			"RABBITMQ_CONFIG_FILE="+filepath.Join(dir, fmt.Sprint(node)), "RABBITMQ_ENABLED_PLUGINS_FILE="+filepath.Join(dir, "plugins"),
			"RABBITMQ_MNESIA_BASE="+filepath.Join(dir, "data"), "RABBITMQ_LOG_BASE="+filepath.Join(dir, "log"),
			"RABBITMQ_PID_FILE="+filepath.Join(dir, fmt.Sprint(node, ".pid")), fmt.Sprintf("RABBITMQ_DIST_PORT=%d", ports[6+node]),
			fmt.Sprintf("ERL_EPMD_PORT=%d", ports[9]), "ERL_EPMD_ADDRESS=127.0.0.1", "RABBITMQ_NODE_IP_ADDRESS=127.0.0.1",
			// Nodes wait for one that hangs for this many seconds, 60 by default, with every subscription.
			"RABBITMQ_SERVER_ADDITIONAL_ERL_ARGS=-kernel net_ticktime 8")
		cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // the shell, the virtual machine and its helpers
		return cmd
	}
	epmd := exec.Command(peers.Program(t, "epmd"))
	epmd.Env = append(os.Environ(), fmt.Sprintf("ERL_EPMD_PORT=%d", ports[9]), "ERL_EPMD_ADDRESS=127.0.0.1")
	if err := epmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = epmd.Process.Kill()
		_ = epmd.Wait()
	})
	c.run()
	return c
}
