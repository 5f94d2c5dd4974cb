package mqtt

import (
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/topics"
	"potlifed/daemon/words"
	"potlifed/model/light"
)

// formCustom is the form of a light whose lamp has a topic and payloads of its own. The word
// is part of a client id.
const formCustom topics.Form = "own"

// Light is a light with the forms it reads; only those topics are published.
type Light struct {
	ID    string
	Reads []topics.Form
	// Topic and Payloads are those of a lamp of another maker, with a payload for each
	// meaning; such a lamp reads no other topic.
	Topic    string
	Payloads map[light.Meaning]string
	// Flashing are its payloads that make it flash; nil for a lamp that cannot.
	Flashing map[light.Meaning]string
	// Confirms is the topic on which the lamp confirms what it was sent; empty for one that
	// does not. Answers are its confirmations, nil for a lamp that repeats the payload.
	Confirms string
	Answers  map[light.Meaning]string
}

// Settings say which broker to connect to, as whom, and for what.
type Settings struct {
	URLs   []string    // mqtt://host:port or mqtts://host:port of a broker, or of a cluster's nodes
	TLS    *tls.Config // for mqtts
	Prefix string      // of the topics
	// ReadTLS, if not nil, reads the certificates' files, for each connection: they may have been
	// renewed. TLS is what it returned first.
	ReadTLS func() (*tls.Config, error)
	// Spread is the time over which connections come back after a loss; 0 for at once.
	Spread   time.Duration
	Bench    string
	Machine  string // tells two computers with one configuration apart; part of client ids
	Username string
	Password string
	Commands bool // whether commands on do/VERB are carried out
	Lights   []Light
	Locale   words.Locale // how the reasons of lights are written
	// Plant is whether this is the plant's broker, beside the hall's: it gets events, from a cursor of
	// its own, and states. Lights and commands are the hall's alone.
	Plant bool
	// Discovery is what the topics begin with by which home-automation hubs find the bench's states; empty for none.
	Discovery string

	// OnCommand, if not nil, is called once with the function to which the broker passes
	// commands. They are then not subscribed to. The function may be called from any
	// goroutine and does not block.
	OnCommand func(take func(Given))
}

// FromShop returns the settings of a checked configuration, with the contents of the files
// that it names. The error names every file that cannot be read. The address is empty where
// only the built-in broker is configured; the caller then fills in its credentials.
func FromShop(shop config.Shop) (Settings, error) {
	s, err := fromSection("mqtt", shop.MQTT, shop)
	s.Commands, s.Discovery = shop.MQTT.Commands, shop.Discovery
	for _, l := range shop.Lights {
		own := Light{
			ID: l.ID, Topic: l.Topic, Payloads: l.Payloads, Flashing: l.FlashingPayloads,
			Confirms: l.Confirms, Answers: l.ConfirmPayloads,
		}
		for _, form := range l.Reads {
			own.Reads = append(own.Reads, topics.Form(form))
		}
		s.Lights = append(s.Lights, own)
	}
	return s, err
}

// PlantFromShop returns the settings for the plant's broker, as [FromShop] does for the hall's. The
// address is empty where none is configured.
func PlantFromShop(shop config.Shop) (Settings, error) {
	s, err := fromSection("plant", shop.Plant, shop)
	s.Plant = true
	return s, err
}

// fromSection returns what a section of the configuration, with its key, says of a connection.
func fromSection(key string, m config.MQTT, shop config.Shop) (Settings, error) {
	s := Settings{
		URLs: m.URLs, Spread: spreadFor(m.URLs), Prefix: m.TopicPrefix, Bench: shop.Bench,
		Machine: machineID(), Username: m.Username, Locale: shop.Locale(),
	}
	var errs []error
	if m.PasswordFile != "" {
		b, err := os.ReadFile(m.PasswordFile)
		if err != nil {
			errs = append(errs, fmt.Errorf("%s: password_file: %w", key, err))
		}
		s.Password = strings.TrimRight(string(b), "\r\n")
	}
	if m.TLS() {
		var err error
		s.ReadTLS = func() (*tls.Config, error) { return tlsConfig(key, m) }
		if s.TLS, err = s.ReadTLS(); err != nil {
			errs = append(errs, err)
		}
	}
	return s, errors.Join(errs...)
}

// spreadFor returns over which time connections come back to a broker. One on this computer serves
// few benches, which need not wait for each other.
func spreadFor(urls []string) time.Duration {
	for _, text := range urls {
		if u, err := url.Parse(text); err == nil {
			if ip := net.ParseIP(u.Hostname()); u.Hostname() != "localhost" && !ip.IsLoopback() {
				return ReconnectSpread
			}
		}
	}
	return 0
}

func tlsConfig(key string, m config.MQTT) (*tls.Config, error) {
	c := &tls.Config{MinVersion: tls.VersionTLS12}
	if m.CAFile != "" {
		pem, err := os.ReadFile(m.CAFile)
		if err != nil {
			return nil, fmt.Errorf("%s: ca_file: %w", key, err)
		}
		c.RootCAs = x509.NewCertPool()
		if !c.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("%s: ca_file: %s: no certificate in it; a PEM file is wanted", key, m.CAFile)
		}
	}
	if m.CertFile != "" {
		pair, err := tls.LoadX509KeyPair(m.CertFile, m.KeyFile)
		if err != nil {
			return nil, fmt.Errorf("%s: cert_file, key_file: %w", key, err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return c, nil
}

// clientID returns a client id that is the same at each start, so that a broker closes an old
// connection when the new one opens. It contains a hash of topic prefix and computer: two
// benches of one name under two prefixes, or two computers with one configuration, would
// otherwise disconnect each other without end.
func (s Settings) clientID(parts ...string) string {
	sum := sha256.Sum256([]byte(s.Prefix + "\x00" + s.Bench + "\x00" + s.Machine))
	id := topics.ClientPrefix + s.Bench + "-" + hex.EncodeToString(sum[:4])
	if s.Plant { // one broker may be the plant's of this bench and the hall's of another
		id += "-plant"
	}
	for _, part := range parts {
		id += "-" + part
	}
	return id
}

// machineID returns systemd's id of this computer, or else its name.
func machineID() string {
	if b, err := os.ReadFile("/etc/machine-id"); err == nil {
		if id := strings.TrimSpace(string(b)); id != "" {
			return id
		}
	}
	name, err := os.Hostname()
	if err != nil {
		return "" // a fixed id without the computer in it is still a fixed id
	}
	return name
}
