package main

import (
	"context"
	"errors"
	"net"
	"strings"

	"potlifed/daemon/broker"
	"potlifed/daemon/config"
	"potlifed/daemon/mqtt"
)

// mqtt looks whether the broker answers that the service will connect to. The built-in
// one runs only while the service does, so that nothing can answer yet.
func (l *checklist) mqtt(ctx context.Context, shop config.Shop) {
	address := ""
	if len(shop.MQTT.URLs) > 0 {
		address = shop.MQTT.URLs[0]
	}
	own := broker.OwnAddresses()
	speaks := shop.Broker.OtherScheme(address, own)
	switch {
	case address == "" && shop.Broker.Listen == "":
		l.good("mqtt", "off: the configuration has neither mqtt nor broker")
		return
	case address == "":
		l.good("mqtt", "the service connects to the built-in broker")
		return
	case shop.Broker.Serves(address, own):
		l.good("mqtt", "%s is the built-in broker, which starts with the service", address)
		return
	case speaks != "":
		l.fault("mqtt", "%s is the built-in broker, which speaks only %s; write %s:// in mqtt.url, or leave url out", address, protocolNames[speaks], speaks)
		return
	}
	settings, err := mqtt.FromShop(shop)
	if err != nil {
		return // files has said so
	}
	l.probe(ctx, "mqtt", settings)
}

// plant looks at the plant's broker.
func (l *checklist) plant(ctx context.Context, shop config.Shop) {
	own := broker.OwnAddresses()
	for _, address := range shop.Plant.URLs {
		if shop.Broker.Serves(address, own) && shop.Plant.TopicPrefix == shop.MQTT.TopicPrefix {
			l.fault("plant", "%s is the built-in broker; write the address of the plant's in plant.url, or leave the section out", address)
			return
		}
	}
	settings, err := mqtt.PlantFromShop(shop)
	if err != nil {
		return // files has said so
	}
	l.probe(ctx, "plant", settings)
}

// probe looks whether each address of a broker answers and delivers messages.
func (l *checklist) probe(ctx context.Context, what string, s mqtt.Settings) {
	for _, address := range s.URLs {
		one := s
		one.URLs = []string{address}
		l.probeOne(ctx, what, one)
	}
}

// probeOne looks whether a broker, or a node of a cluster, answers and delivers messages.
func (l *checklist) probeOne(ctx context.Context, what string, s mqtt.Settings) {
	address := s.URLs[0]
	switch err := mqtt.Probe(ctx, s); {
	case err == nil:
		l.good(what, "%s answers and delivers what is published below %s/%s/", address, s.Prefix, s.Bench)
	case errors.Is(err, mqtt.ErrNotDelivered) && strings.Contains(s.Prefix, "."):
		l.fault(what, "%s: %v; some brokers change dots in topics: choose a topic_prefix without dots, and allow the user to write and to read below it", address, err)
	case errors.Is(err, mqtt.ErrNotDelivered):
		l.fault(what, "%s: %v; allow the user to write and to read every topic below %s/%s/", address, err, s.Prefix, s.Bench)
	default:
		l.fault(what, "%s: %v; check that the broker runs, and that address, user and password are right", address, plainly(err))
	}
}

var protocolNames = map[string]string{"mqtt": "MQTT without TLS", "mqtts": "MQTT over TLS"}

// plainly returns what the system said of a connection that failed, without the names that
// the libraries put before it.
func plainly(err error) error {
	var network *net.OpError
	if errors.As(err, &network) {
		return network.Err
	}
	return err
}
