package kit

import (
	"fmt"
	"maps"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/peers"
)

const list = `id,name,presses,zone,address,scale,sensor
bench-1,"Hall A, left",press-1 press-2,hall-a,bench-1.example:9755,/dev/ttyUSB0,/sys/class/hwmon/hwmon0
bench-2,,press-3,,bench-2.example:9755,tcp://10.0.0.7:4001,/sys/class/hwmon/hwmon0
`

const recipes = `inks: [{id: gloss, hardener_ratio: "5:1", pot_life: {about: 14h}}]` + "\n"

func plant(t *testing.T) Plant {
	t.Helper()
	benches, err := Read("benches.csv", []byte(list))
	if err != nil {
		t.Fatal(err)
	}
	return Plant{Name: "north", Benches: benches, Recipes: []byte(recipes), URL: "mqtts://broker.example", CAFile: "/etc/potlifed/ca.pem", Prefix: "plant/north", Dir: t.TempDir()}
}

// contents returns the files of a kit.
func contents(t *testing.T, files []string) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		all[file] = string(b)
		secret := strings.Contains(filepath.Base(file), "password") || filepath.Base(file) == "nats.conf"
		if info, err := os.Stat(file); err != nil || secret != (info.Mode().Perm() == 0o600) {
			t.Errorf("%s: mode %v", file, info.Mode())
		}
	}
	return all
}

func TestWrite(t *testing.T) {
	p := plant(t)
	files, err := p.Write()
	if err != nil {
		t.Fatal(err)
	}
	first := contents(t, files)
	shop, err := config.Read(filepath.Join(p.Dir, "benches", "bench-1", Configuration))
	if err != nil {
		t.Fatal(err)
	}
	if len(shop.Presses) != 2 || shop.Presses[1].Zone != "hall-a" || shop.MQTT.TopicPrefix != "plant/north" || shop.MQTT.Username != "bench-1" || len(shop.Inks) != 1 || shop.HTTP.Hosts[0] != "bench-1.example" {
		t.Errorf("%+v", shop)
	}
	if first[filepath.Join(p.Dir, "benches", "bench-1", passwordFile)] == first[filepath.Join(p.Dir, "benches", "bench-2", passwordFile)] {
		t.Error("two benches with the same password")
	}
	own := p
	own.Dir, own.OwnBroker = t.TempDir(), true
	if _, err := own.Write(); err != nil {
		t.Fatal(err)
	}
	shop, err = config.Read(filepath.Join(own.Dir, "benches", "bench-2", Configuration))
	if err != nil || shop.Broker.Listen == "" || len(shop.Plant.URLs) != 1 || shop.Plant.Username != "bench-2" || shop.Plant.TopicPrefix != "plant/north" {
		t.Errorf("%+v %v", shop, err)
	}
	again, err := p.Write()
	if err != nil || !maps.Equal(first, contents(t, again)) {
		t.Errorf("a second time gives other files: %v", err)
	}
	if err := os.Remove(filepath.Join(p.Dir, "benches", "bench-2", passwordFile)); err != nil {
		t.Fatal(err)
	}
	if files, err = p.Write(); err != nil {
		t.Fatal(err)
	}
	for file, text := range contents(t, files) {
		changed := strings.Contains(file, "bench-2/"+passwordFile) || strings.HasSuffix(file, "mosquitto.passwords") || strings.HasSuffix(file, "nats.conf")
		if changed == (first[file] == text) {
			t.Errorf("%s after one new password: changed %v", file, !changed)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"id,name\n": "no bench",
		"id,port\n": `unknown column "port"`,
		"id,presses,address,scale,sensor\nBench 1,p,a:1,s,s\n":         `"Bench 1"`,
		"id,presses,address,scale,sensor\nb,,a:1,s,s\n":                "has no press",
		"id,presses,address,scale,sensor\nb,p,a,s,s\n":                 "want HOST:PORT",
		"id,presses,address,scale,sensor\nb,p,a:1,s,\n":                "needs scale",
		"id,presses,address,scale,sensor\nb,p,a:1,s,s\nb,p,a:1,s,s\n":  "a second time",
		"id,name,presses,address,scale,sensor\nb,\"x\ny\",p,a:1,s,s\n": "not one line",
	} {
		if _, err := Read("benches.csv", []byte(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
	if _, err := Read("benches.yaml", []byte("- {id: b, port: 1}\n")); err == nil || !strings.Contains(err.Error(), "port") {
		t.Error(err)
	}
	if b, err := Read("benches.yaml", []byte("- {id: b, presses: [p], address: \"a:1\", scale: s, sensor: s}\n")); err != nil || b[0].Zone != "hall" {
		t.Error(b, err)
	}
}

// FuzzRead: whatever the list, it is refused or gives configurations that are right, and rights of one user each.
func FuzzRead(f *testing.F) {
	f.Add(true, []byte(list))
	f.Add(false, []byte("- {id: b, presses: [p], address: \"a:1\", scale: s, sensor: s}\n"))
	f.Fuzz(func(t *testing.T, csv bool, data []byte) {
		name := "benches.yaml"
		if csv {
			name = "benches.csv"
		}
		benches, err := Read(name, data)
		if err != nil {
			return
		}
		for _, b := range benches {
			text, err := Plant{URL: "mqtt://b", Prefix: "p"}.configuration(b)
			if err != nil {
				t.Fatal(err)
			}
			shop, err := config.Parse(b.ID, []byte(strings.Replace(string(text), "include: recipes.yaml", strings.TrimSpace(recipes), 1)))
			if err == nil && (shop.Bench != b.ID || shop.Scales[0].Port != b.Scale) {
				t.Errorf("%+v from %+v", shop, b)
			}
		}
	})
}

// TestMosquitto: with the users and rights that were written, a bench publishes below its own topics and not below another's,
// and the reader reads all and publishes nothing.
func TestMosquitto(t *testing.T) {
	server, pub, sub := peers.Program(t, "mosquitto"), peers.Program(t, "mosquitto_pub"), peers.Program(t, "mosquitto_sub")
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
	conf := filepath.Join(t.TempDir(), "mosquitto.conf")
	text := fmt.Sprintf("listener %s 127.0.0.1\nallow_anonymous false\npassword_file %s/mosquitto.passwords\nacl_file %s/mosquitto.acl\n", port, p.Dir, p.Dir)
	if os.Geteuid() == 0 {
		text = "user root\n" + text // it would give up the rights to read the passwords
	}
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	broker := exec.Command(server, "-c", conf)
	if err := broker.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = broker.Process.Kill(); _ = broker.Wait() }()
	password := func(name string) string {
		b, err := os.ReadFile(filepath.Join(p.Dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return strings.TrimSpace(string(b))
	}
	as := func(program, user, password string, args ...string) (string, error) {
		out, err := exec.Command(program, append([]string{"-h", "127.0.0.1", "-p", port, "-u", user, "-P", password, "-q", "1"}, args...)...).CombinedOutput()
		return string(out), err
	}
	of := func(bench string) string { return password("benches/" + bench + "/" + passwordFile) }
	for tries := 0; ; tries++ {
		if _, err := as(pub, "bench-1", of("bench-1"), "-r", "-t", "plant/north/bench-1/availability", "-m", "online"); err == nil {
			break
		} else if tries == 50 {
			t.Fatal(err)
		}
		time.Sleep(100 * time.Millisecond)
	}
	if out, err := as(pub, "bench-1", of("bench-2"), "-t", "plant/north/bench-1/x", "-m", "x"); err == nil {
		t.Errorf("with another's password: %s", out)
	}
	for _, topic := range []string{"plant/north/bench-2/availability", "plant/other", "plant/north/bench-11/x"} {
		as(pub, "bench-1", of("bench-1"), "-r", "-t", topic, "-m", "forged") // a broker drops it without a word
	}
	as(pub, reader, password("reader-password"), "-r", "-t", "plant/north/bench-2/x", "-m", "forged")
	if _, err := as(pub, "bench-2", of("bench-2"), "-r", "-t", "plant/north/bench-2/availability", "-m", "online"); err != nil {
		t.Error(err)
	}
	out, _ := as(sub, reader, password("reader-password"), "-t", "#", "-v", "-W", "1")
	if strings.Contains(out, "forged") || !strings.Contains(out, "plant/north/bench-1/availability online") || !strings.Contains(out, "plant/north/bench-2/availability online") {
		t.Errorf("the reader sees\n%s", out)
	}
}
