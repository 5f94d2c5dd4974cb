package kit

import (
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"

	"github.com/goccy/go-yaml"

	"potlifed/daemon/topics"
	"potlifed/daemon/whole"
)

// Names of the files in a bench's folder. The folder is copied to the bench's /etc/potlifed.
const (
	Configuration = "potlifed.yaml"
	recipesFile   = "recipes.yaml"
	passwordFile  = "mqtt-password"
	onBench       = "/etc/potlifed/"
)

// Plant is what a kit is made of.
type Plant struct {
	Name    string // label plant of its targets
	Benches []Bench
	Recipes []byte // hardeners, thinners, inks and defects of all benches
	URL     string // of the plant's broker
	CAFile  string // on each bench; empty for that of the system
	Prefix  string // topic prefix
	// OwnBroker: each bench's own broker keeps its lamps, and the plant's broker is its second destination.
	OwnBroker bool
	Dir       string
}

// user of all topics, for boards and collectors, who reads only.
const reader = "reader"

// Write writes the kit: for each bench a folder DIR/benches/ID with its configuration, the recipes and its password; the
// users and rights for mosquitto and for NATS; and the targets for a Prometheus. Passwords are made once: one that is there
// stays. Files with passwords or their hashes can be read by their owner only. It returns the files in the
// order in which they were written.
func (p Plant) Write() (files []string, err error) {
	var users []user
	put := func(name string, mode fs.FileMode, data []byte) {
		if err == nil {
			path := filepath.Join(p.Dir, name)
			files, err = append(files, path), write(path, mode, data)
		}
	}
	for _, b := range p.Benches {
		folder := filepath.Join("benches", b.ID)
		password, failed := p.password(filepath.Join(folder, passwordFile))
		if err = errors.Join(err, failed); err != nil {
			return files, err
		}
		text, failed := p.configuration(b)
		err = errors.Join(err, failed)
		put(filepath.Join(folder, Configuration), whole.Public, text)
		put(filepath.Join(folder, recipesFile), whole.Public, p.Recipes)
		files = append(files, filepath.Join(p.Dir, folder, passwordFile))
		root := topics.New(p.Prefix, b.ID).Root()
		users = append(users, user{b.ID, password, root + "#", p.Prefix + "/#"})
	}
	password, failed := p.password("reader-password")
	if err = errors.Join(err, failed); err != nil {
		return files, err
	}
	files = append(files, filepath.Join(p.Dir, "reader-password"))
	users = append(users, user{reader, password, "", p.Prefix + "/#"})
	put("mosquitto.passwords", whole.Private, mosquittoPasswords(users))
	put("mosquitto.acl", whole.Public, mosquittoRights(users))
	put("nats.conf", whole.Private, natsUsers(users))
	put("targets.json", whole.Public, p.targets())
	return files, err
}

// user is a user of the broker: what it may publish, empty for nothing, and read.
type user struct{ name, password, writes, reads string }

// password returns that of a file, and makes one of 128 random bits if there is none.
func (p Plant) password(name string) (string, error) {
	path := filepath.Join(p.Dir, name)
	b, err := os.ReadFile(path)
	if err == nil {
		if text := strings.TrimSpace(string(b)); text != "" {
			return text, os.Chmod(path, whole.Private)
		}
		return "", fmt.Errorf("%s is empty; remove it for a new password", path)
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	text := strings.ToLower(rand.Text())
	return text, write(path, whole.Private, []byte(text+"\n"))
}

// write writes a file completely or not at all, and makes its folder.
func write(path string, mode fs.FileMode, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return whole.Write(path, mode, func(w io.Writer) error { _, err := w.Write(data); return err })
}

// configuration returns that of a bench.
func (p Plant) configuration(b Bench) ([]byte, error) {
	type m = yaml.MapSlice
	mqtt := m{{Key: "url", Value: p.URL}}
	if p.CAFile != "" {
		mqtt = append(mqtt, yaml.MapItem{Key: "ca_file", Value: p.CAFile})
	}
	mqtt = append(mqtt, m{{Key: "topic_prefix", Value: p.Prefix}, {Key: "username", Value: b.ID}, {Key: "password_file", Value: onBench + passwordFile}}...)
	var presses []m
	for _, id := range b.Presses {
		presses = append(presses, m{{Key: "id", Value: id}, {Key: "zone", Value: b.Zone}})
	}
	_, port, err := net.SplitHostPort(b.Address)
	if err != nil {
		return nil, err
	}
	host, _, _ := net.SplitHostPort(b.Address)
	destination := m{{Key: "mqtt", Value: mqtt}}
	if p.OwnBroker {
		destination = m{{Key: "broker", Value: m{{Key: "listen", Value: "0.0.0.0:1883"}}}, {Key: "mqtt", Value: m{{Key: "topic_prefix", Value: p.Prefix}}}, {Key: "plant", Value: mqtt}}
	}
	text, err := yaml.Marshal(append(destination, m{
		{Key: "bench", Value: b.ID},
		{Key: "http", Value: m{{Key: "listen", Value: "0.0.0.0:" + port}, {Key: "hosts", Value: []string{host}}}},
		{Key: "scales", Value: []m{{{Key: "id", Value: "scale-1"}, {Key: "port", Value: b.Scale}, {Key: "zone", Value: b.Zone}}}},
		{Key: "sensors", Value: []m{{{Key: "id", Value: b.Zone + "-air"}, {Key: "zone", Value: b.Zone}, {Key: "path", Value: b.Sensor}}}},
		{Key: "presses", Value: presses},
		{Key: "include", Value: recipesFile},
	}...))
	return fmt.Appendf(nil, "# %s, written by potlifed plant, which replaces this file.\n%s", strings.TrimSpace(b.ID+" "+b.Name), text), err
}

// mosquittoPasswords returns a file for password_file: PBKDF2 with SHA-512, as mosquitto_passwd writes it. The
// salt follows from the password, so that the file stays the same; passwords of 128 random bits need none.
func mosquittoPasswords(users []user) []byte {
	const iterations = 101
	var out []byte
	for _, u := range users {
		sum := sha256.Sum256([]byte(u.name + " " + u.password))
		salt := sum[:12]
		key, err := pbkdf2.Key(sha512.New, u.password, salt, iterations, 64)
		if err != nil {
			panic(err) // only for parameters that no program may use
		}
		out = fmt.Appendf(out, "%s:$7$%d$%s$%s\n", u.name, iterations, base64.StdEncoding.EncodeToString(salt), base64.StdEncoding.EncodeToString(key))
	}
	return out
}

// mosquittoRights returns a file for acl_file. Nobody else may do anything.
func mosquittoRights(users []user) []byte {
	var out []byte
	for _, u := range users {
		out = fmt.Appendf(out, "user %s\n", u.name)
		if u.writes != "" {
			out = fmt.Appendf(out, "topic write %s\n", u.writes)
		}
		out = fmt.Appendf(out, "topic read %s\n\n", u.reads)
	}
	return out
}

// natsUsers returns a configuration to include in that of the servers. Levels of topics are parted by dots in NATS. A filter
// such as a/# also subscribes a, which is therefore allowed too.
func natsUsers(users []user) []byte {
	subjects := func(topic string) string {
		root := strings.ReplaceAll(strings.TrimSuffix(topic, "/#"), "/", ".")
		return fmt.Sprintf("[%q, %q]", root, root+".>")
	}
	out := []byte("authorization {\n  users: [\n")
	for _, u := range users {
		writes := `{deny: [">"]}` // an empty list would allow everything
		if u.writes != "" {
			writes = subjects(u.writes)
		}
		out = fmt.Appendf(out, "    {user: %q, password: %q, permissions: {publish: %s, subscribe: %s}}\n", u.name, u.password, writes, subjects(u.reads))
	}
	return append(out, "  ]\n}\n"...)
}

// targets returns a file for file_sd_configs.
func (p Plant) targets() []byte {
	type target struct {
		Targets []string          `json:"targets"`
		Labels  map[string]string `json:"labels"`
	}
	var all []target
	for _, b := range p.Benches {
		labels := map[string]string{"plant": p.Name}
		if b.Name != "" {
			labels["place"] = b.Name
		}
		all = append(all, target{[]string{b.Address}, labels})
	}
	out, err := json.MarshalIndent(all, "", "  ")
	if err != nil {
		panic(err) // of texts alone
	}
	return append(out, '\n')
}
