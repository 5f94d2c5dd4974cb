package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/access"
	"potlifed/daemon/bench"
	"potlifed/daemon/config"
	"potlifed/daemon/mqtt"
	"potlifed/daemon/web"
	sensors "potlifed/devices/climate"
	"potlifed/devices/link"
	"potlifed/devices/scale"
	"potlifed/model/weigh"
)

func checkCommand() *cobra.Command {
	var file, bundle string
	var offline bool
	c := &cobra.Command{
		Use:   "check --config FILE",
		Short: "Read the configuration, open every device and the broker, one line each",
		Args:  noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if bundle != "" {
				return usage("--bundle: not yet; send the configuration and the lines that check prints")
			}
			shop, err := readShop(file)
			if err != nil {
				return err
			}
			l := &checklist{out: c.OutOrStdout()}
			l.good("configuration", "%s: %d scale(s), %d sensor(s), %d press(es), %d ink(s)",
				file, len(shop.Scales), len(shop.Sensors), len(shop.Presses), len(shop.Inks))
			if !offline {
				l.everything(c.Context(), shop)
			}
			l.addresses(shop)
			return l.verdict()
		},
	}
	f := c.Flags()
	f.StringVar(&file, "config", "", "the configuration file")
	f.BoolVar(&offline, "offline", false, "stop after the configuration")
	f.StringVar(&bundle, "bundle", "", "collect everything into a file for someone far away (not yet)")
	return c
}

// checklist prints a line for each thing that was looked at.
type checklist struct {
	out    io.Writer
	faults int
}

func (l *checklist) good(what, format string, args ...any) {
	fmt.Fprintf(l.out, "ok     %-24s %s\n", what, fmt.Sprintf(format, args...))
}

func (l *checklist) fault(what, format string, args ...any) {
	l.faults++
	fmt.Fprintf(l.out, "fault  %-24s %s\n", what, fmt.Sprintf(format, args...))
}

func (l *checklist) verdict() error {
	if l.faults > 0 {
		return fmt.Errorf("%d of the things looked at do not work; the lines that begin with fault say which and what to do", l.faults)
	}
	return nil
}

func (l *checklist) everything(ctx context.Context, shop config.Shop) {
	l.dataDir(shop)
	l.access(shop)
	for _, s := range shop.Scales {
		l.scale(ctx, s)
	}
	for _, s := range shop.Sensors {
		l.sensor(ctx, s)
	}
	l.broker(ctx, shop)
	if err := web.CheckConfigFile(shop.HTTP.WebConfigFile); err != nil {
		l.fault("page", "%v", err)
	} else {
		l.port("page", shop.HTTP.Listen)
	}
}

func (l *checklist) dataDir(shop config.Shop) {
	f, err := os.CreateTemp(shop.DataDir, ".check-*")
	if err != nil {
		l.fault("data_dir", "%v; make the folder and let this user write in it", err)
		return
	}
	name := f.Name()
	if err := errors.Join(f.Close(), os.Remove(name)); err != nil {
		l.fault("data_dir", "%v", err)
		return
	}
	l.good("data_dir", "%s can be written", filepath.Clean(shop.DataDir))
}

// access says who may change something.
func (l *checklist) access(shop config.Shop) {
	store := access.Open(shop.DataDir)
	pin, err := store.HasPIN()
	if err != nil {
		l.fault("access", "%v", err)
		return
	}
	tokens, err1 := store.Tokens()
	devices, err2 := store.Sessions(time.Now())
	switch {
	case err1 != nil || err2 != nil:
		l.fault("access", "%v", errors.Join(err1, err2))
	case pin:
		l.good("access", "a PIN is set; paired devices: %d, tokens: %d", len(devices), len(tokens))
	default:
		l.good("access", "no PIN: changes are taken from this computer only, and by token (%d); see potlifed pin", len(tokens))
	}
}

// listenFor is how long a scale is listened to: enough for auto to settle on a shape.
const listenFor = 4 * time.Second

func (l *checklist) scale(ctx context.Context, c config.Scale) {
	what := "scale " + c.ID
	ctx, cancel := context.WithTimeout(ctx, listenFor)
	defer cancel()
	var last weigh.Reading
	counts, shape, err := scale.Watch(ctx, bench.ScaleConfig(c), func(_ []byte, r weigh.Reading, err error) {
		if err == nil {
			last = r
		}
	})
	switch {
	case errors.Is(err, link.ErrBusy):
		l.fault(what, "%v; end that program, a running potlifed included", err)
	case errors.Is(err, link.ErrAbsent):
		l.fault(what, "%v; plug it in and switch it on, or correct the port", err)
	case errors.Is(err, link.ErrDenied):
		l.fault(what, "%v; put this user into the group of the port, usually dialout", err)
	case err != nil:
		l.fault(what, "%v", err)
	case counts.OK == 0 && counts.Unknown+counts.Torn+counts.Overlong == 0:
		l.fault(what, "%s opens, but nothing came in %v; switch the scale on and set it to send continuously", c.Port, listenFor)
	case counts.OK == 0:
		l.fault(what, "%s speaks, but no line can be read (%d unknown, %d torn); check baud, mode and line with: potlifed listen --port %s", c.Port, counts.Unknown, counts.Torn, c.Port)
	case last.Over || last.Under:
		l.good(what, "%s speaks (%s); it is out of its range just now", c.Port, shape)
	default:
		l.good(what, "%s shows %v g (%s)", c.Port, last.Grams, shape)
	}
}

func (l *checklist) sensor(ctx context.Context, c config.Sensor) {
	what := "sensor " + c.ID
	s, err := sensors.OpenHWMon(c.Path)
	switch {
	case errors.Is(err, sensors.ErrAbsent):
		l.fault(what, "%v; is it wired and its driver loaded? The files called name under /sys/class/hwmon say which chips the kernel has found", err)
		return
	case err != nil:
		l.fault(what, "%v", err)
		return
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	a, err := s.Read(ctx)
	if err != nil {
		l.fault(what, "%v; look at its cable, its supply and what the kernel says (dmesg)", err)
		return
	}
	chip := ""
	if name := s.Name(); name != "" {
		chip = " (" + name + ")"
	}
	l.good(what, "%s%s in zone %s: %.1f °C, %.1f %%", c.Path, chip, c.Zone, a.TemperatureC, a.HumidityPct)
}

func (l *checklist) broker(ctx context.Context, shop config.Shop) {
	settings, err := mqtt.FromShop(shop)
	if err != nil {
		l.fault("mqtt", "%v", err)
		return
	}
	if shop.Broker.Listen != "" {
		if _, err := mqtt.BrokerCertificate(shop.Broker); err != nil {
			l.fault("built-in broker", "%v", err)
		}
		l.port("built-in broker", shop.Broker.Listen)
	}
	if settings.URL == "" {
		if shop.Broker.Listen == "" {
			l.good("mqtt", "off: the configuration has neither mqtt nor broker")
		}
		return
	}
	if err := mqtt.Probe(ctx, settings); err != nil {
		l.fault("mqtt", "%s: %v; is the broker running, and are name, user and password right?", settings.URL, err)
		return
	}
	l.good("mqtt", "%s answers", settings.URL)
}

// port looks whether an address is free to listen on.
func (l *checklist) port(what, address string) {
	listener, err := net.Listen("tcp", address)
	if err != nil {
		l.fault(what, "%v; end the program that uses it, a running potlifed included, or choose another port", err)
		return
	}
	if err := listener.Close(); err != nil {
		l.fault(what, "%v", err)
		return
	}
	l.good(what, "%s is free", address)
}

// addresses prints where the page can be reached.
func (l *checklist) addresses(shop config.Shop) {
	host, port, err := net.SplitHostPort(shop.HTTP.Listen)
	if err != nil { // the configuration was checked
		return
	}
	scheme := "http"
	if shop.HTTP.WebConfigFile != "" {
		scheme = "https" // or http with a password: the file says
	}
	show := func(host string) { fmt.Fprintf(l.out, "page   %s://%s/\n", scheme, net.JoinHostPort(host, port)) }
	if ip := net.ParseIP(host); ip != nil && !ip.IsUnspecified() || ip == nil && host != "" {
		show(host)
		return
	}
	show("127.0.0.1")
	addresses, err := net.InterfaceAddrs()
	if err != nil {
		return
	}
	for _, a := range addresses {
		if n, ok := a.(*net.IPNet); ok && n.IP.IsGlobalUnicast() {
			show(n.IP.String())
		}
	}
}
