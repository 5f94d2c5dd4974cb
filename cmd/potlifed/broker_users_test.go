package main

import (
	"fmt"
	"os/exec"
	"strings"
	"testing"

	"potlifed/daemon/peers"
	"potlifed/daemon/record"
)

// TestUsersOfTheBuiltInBroker: the program listens beyond loopback; users are made and
// revoked with the command while it runs, and come in with mosquitto's own clients.
func TestUsersOfTheBuiltInBroker(t *testing.T) {
	t.Parallel()
	sub, pub := peers.Program(t, "mosquitto_sub"), peers.Program(t, "mosquitto_pub")
	b := newHardware(t)
	port := fmt.Sprint(freePort(t))
	file := b.configuration(t, "broker: {listen: \"0.0.0.0:"+port+"\"}\nmqtt: {commands: true}\n")
	p := start(t, file)
	user := func(args ...string) (password string) {
		t.Helper()
		code, out, errs := command(t, append([]string{"token", "--config", file, "--mqtt", "--name"}, args...)...)
		if code != exitDone {
			t.Fatalf("token: %d %s", code, errs)
		}
		return strings.TrimSpace(out)
	}
	lamp, line := user("lamp-1", "--light", "light-1"), user("line-2", "--may", "mix")
	for _, wrong := range [][]string{{"x", "--light", "no-such"}, {"lamp-1"}, {"y", "--may", "everything"}} {
		if code, _, _ := command(t, append([]string{"token", "--config", file, "--mqtt", "--name"}, wrong...)...); code != exitUsage {
			t.Errorf("token --mqtt --name %v: exit %d", wrong, code)
		}
	}
	reads := func(name, password, topic string) (string, error) {
		args := []string{"-h", "127.0.0.1", "-p", port, "-q", "1", "-t", topic, "-C", "1", "-W", "3"}
		if name != "" {
			args = append(args, "-u", name, "-P", password)
		}
		out, err := exec.Command(sub, args...).Output()
		return strings.TrimSpace(string(out)), err
	}
	eventually(t, "the lamp to read its light", func() (bool, any) {
		got, err := reads("lamp-1", lamp, "potlife/bench-1/light/light-1")
		return strings.Contains(got, `"meaning":"empty"`), fmt.Sprint(got, err)
	})
	for _, c := range [][3]string{
		{"", "", "potlife/bench-1/daemon"}, {"lamp-1", line, "potlife/bench-1/daemon"},
		{"lamp-1", lamp, "potlife/bench-1/air/bench"}, {"lamp-1", lamp, "#"},
	} {
		if got, err := reads(c[0], c[1], c[2]); got != "" {
			t.Errorf("%q reads %s: %q, %v", c[0], c[2], got, err)
		}
	}
	if got, err := reads("line-2", line, "potlife/bench-1/availability"); err != nil || got != "online" {
		t.Errorf("availability %q, %v", got, err)
	}

	id := p.loads()
	says := func(name, password, verb, ref string) {
		t.Helper()
		payload := fmt.Sprintf(`{"ref":%q,"at":%q,"batch":%q}`, ref, rightNow(), id)
		out, err := exec.Command(pub, "-h", "127.0.0.1", "-p", port, "-u", name, "-P", password, "-q", "1", "-t", "potlife/bench-1/do/"+verb, "-m", payload).CombinedOutput()
		if err != nil {
			t.Fatalf("mosquitto_pub: %v %s", err, out)
		}
	}
	says("lamp-1", lamp, "unload", "a")
	says("line-2", line, "unload", "b")
	says("line-2", line, "unload", "b")
	var list struct{ Events []map[string]any }
	p.eventually("the batch to be taken off, by the user", func() (bool, any) {
		p.get("/api/v1/events?after=0", &list)
		for _, e := range list.Events {
			if e["kind"] == string(record.KindUnloaded) {
				return e["by"] == "line-2", e
			}
		}
		return false, nil
	})
	metrics := p.text("/metrics")
	for action, least := range map[string]float64{"connect": 2, "subscribe": 2, "publish": 1} {
		if n := sample(t, metrics, `potlife_broker_refusals_total{action="`+action+`",bench="bench-1"}`); n < least {
			t.Errorf("%v refusals to %s", n, action)
		}
	}

	// Revoked while it listens.
	listening := exec.Command(sub, "-h", "127.0.0.1", "-p", port, "-u", "line-2", "-P", line, "-t", "potlife/bench-1/#", "-v")
	seen := newLines()
	out, err := listening.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := listening.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { seen.read(out); ended <- listening.Wait() }()
	seen.wait(t, "something to hear", 0, has("availability online"))
	if code, _, errs := command(t, "token", "revoke", "line-2", "--config", file); code != exitDone {
		t.Fatal(errs)
	}
	eventually(t, "the revoked user to be out", func() (bool, any) {
		_, err := reads("line-2", line, "potlife/bench-1/availability")
		return err != nil, err
	})
	p.log.wait(t, "word of it", 0, has("broker: refused", "line-2", "who was revoked"))
	_ = listening.Process.Kill()
	<-ended
	p.stop()
}
