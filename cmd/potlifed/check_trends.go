package main

import (
	"context"
	"errors"
	"log/slog"

	"potlifed/daemon/broker"
	"potlifed/daemon/config"
	"potlifed/daemon/instruments"
	"potlifed/daemon/mqtt"
	sensors "potlifed/devices/climate"
	"potlifed/devices/link"
)

// trend looks whether an instrument that follows the batch on a press can be read, and what it shows.
func (l *checklist) trend(ctx context.Context, c config.Trend, shop config.Shop) {
	what, where, wait := "trend "+c.ID, c.Port+c.Topic, listenFor
	var subscriber instruments.Subscriber
	if c.Source == config.Published {
		settings, err := mqtt.FromShop(shop)
		switch {
		case err != nil:
			return // files has said so
		case len(settings.URLs) == 0 || shop.Broker.Serves(settings.URLs[0], broker.OwnAddresses()):
			l.good(what, "listens on %s at the built-in broker, which starts with the service; it follows the batch on %s", where, c.Press)
			return
		}
		subscriber, wait = mqtt.NewSubscriber(settings, "check-"+c.ID, slog.New(slog.DiscardHandler)), listenToSensor
	}
	ctx, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	value, err := instruments.TryTrend(ctx, c, subscriber)
	switch {
	case err == nil && value <= c.IdleBelow:
		l.good(what, "%s shows %.4g, which is not above idle_below: the drive on %s stands, or turns outside the ink", where, value, c.Press)
	case err == nil:
		l.good(what, "%s shows %.4g; it follows the batch on %s (experimental: it only shortens a pot life until three batches with a seen end were followed)", where, value, c.Press)
	case errors.Is(err, sensors.ErrRetained):
		l.good(what, "%s has a retained message only, whose age is not known; it will be used once the instrument publishes again", where)
	case c.Source == config.Published && (errors.Is(err, sensors.ErrGarbled) || errors.Is(err, sensors.ErrNoValue)):
		l.fault(what, "%v; correct pointer or topic", err)
	case c.Source == config.Published:
		l.fault(what, "%v within %v on %s; check topic and what publishes there", err, wait, where)
	case errors.Is(err, sensors.ErrGarbled):
		l.fault(what, "%s sends lines that do not fit the pattern %q; correct line, or baud and mode: potlifed listen --port %s shows the lines", where, c.Line, where)
	case link.Advice(err) != "":
		l.fault(what, "%v. %s", plainPort(c.Port, err), link.Advice(err))
	default:
		l.fault(what, "%s: %v within %v; check the cable, baud and mode, and set the instrument to send by itself or give a request", where, err, wait)
	}
}
