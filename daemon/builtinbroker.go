package daemon

import (
	"crypto/tls"

	"potlifed/daemon/access"
	"potlifed/daemon/broker"
	"potlifed/daemon/mqtt"
	"potlifed/daemon/request"
	"potlifed/daemon/topics"
)

// brokerSettings returns the settings of the built-in broker, which go with those of the
// MQTT client.
func brokerSettings(s *service, client mqtt.Settings, certificate *tls.Certificate) broker.Settings {
	b := broker.Settings{
		Listen: s.Shop.Broker.Listen, Topics: topics.New(client.Prefix, client.Bench), Commands: client.Commands, Sensors: s.Shop.InstrumentTopics(),
		Users: brokerUsers{s.access}, Retained: s.journal, Certificate: certificate,
		ReadCertificate: func() (*tls.Certificate, error) { return broker.LoadCertificate(s.Shop.Broker) },
	}
	for _, l := range client.Lights {
		b.Lights = append(b.Lights, broker.Light{ID: l.ID, Topic: l.Topic, Confirms: l.Confirms})
	}
	return b
}

// connectTo returns the settings of a client that connects to the built-in broker as the
// daemon, and takes commands from it with the users who gave them.
func connectTo(b *broker.Broker, client mqtt.Settings) mqtt.Settings {
	own := b.OwnClients()
	client.URLs, client.Spread, client.ReadTLS, client.TLS, client.Username, client.Password = []string{own.URL}, 0, nil, own.TLS, own.Username, own.Password
	client.OnCommand = func(take func(mqtt.Given)) {
		b.OnCommand(func(c broker.Command) { take(mqtt.Given(c)) })
	}
	return client
}

// brokerUsers are the tokens that were made for the built-in broker.
type brokerUsers struct{ store *access.Store }

var _ broker.Users = brokerUsers{}

// Find returns a user by name. With a file that cannot be read, there are no users.
func (u brokerUsers) Find(name string) (broker.User, bool) {
	t, err := u.store.User(name)
	if err != nil {
		return broker.User{}, false
	}
	return broker.User{
		Name: t.Name, Hash: t.Hash, Is: t.Is, Lights: t.Lights,
		May: func(verb string) bool { return t.Allows(request.Needs(verb)) },
	}, true
}
