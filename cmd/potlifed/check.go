package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon"
	"potlifed/daemon/access"
	"potlifed/daemon/broker"
	"potlifed/daemon/config"
	"potlifed/daemon/journal"
	"potlifed/daemon/mqtt"
	"potlifed/daemon/web"
)

func checkCommand() *cobra.Command {
	var file string
	var offline bool
	var bundleFile string
	c := &cobra.Command{
		Use:   "check [--offline [DIR]]",
		Short: "Check the configuration, every device and the broker",
		Long: `check reads the configuration and the files that it names, then opens every device,
the broker and the ports to listen on. It prints one line for each: ok with what was
found, or fault with what to do; doubt for what in the configuration is allowed but hardly
meant; advice for a figure that would narrow the bands, for a check of a sensor or scale
that is overdue or failed, and for a certificate that ends within two weeks. At the end it prints the addresses of the page.

Run it before the service starts, as the service's user. While the service runs, its
devices and ports are in use, and check reports them as such.

With --offline and a directory it checks every potlifed.yaml in and below it, such as those
that potlifed plant wrote, and that no two of them are the same bench.

With --bundle it writes what somebody far away needs in order to help into one zip file:
the configuration and the file that it includes, without secrets, what check says, lines of the
scales, versions, what is plugged in, and of a running service its instruments, alarms, newest
events and metrics.`,
		Example: `  potlifed check
  potlifed check --config potlifed.yaml --offline
  potlifed check --bundle potlifed.zip`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) > 0 {
				if !offline || bundleFile != "" || c.Flags().Changed("config") {
					return usage("check: a directory goes with --offline alone; name one configuration with --config")
				}
				return checkFolder(c.OutOrStdout(), args[0])
			}
			shop, err := readShop(file)
			if err != nil && bundleFile != "" { // it is needed most where nothing starts
				b := collect(c.Context(), file, nil, []byte(err.Error()+"\n"), nil)
				return errors.Join(err, b.save(c.OutOrStdout(), bundleFile))
			}
			if err != nil {
				return err
			}
			var said bytes.Buffer
			l := &checklist{out: io.MultiWriter(c.OutOrStdout(), &said)}
			l.good("configuration", "%s: %s, %s, %s, %s", file, counted(len(shop.Scales), "scale", "scales"),
				counted(len(shop.Sensors), "sensor", "sensors"), counted(len(shop.Presses), "press", "presses"), counted(len(shop.Inks), "ink", "inks"))
			l.questions(shop)
			l.files(shop)
			if !offline {
				l.everything(c.Context(), shop)
			}
			l.sheets(shop) // compares them with what the sensors read
			l.addresses(shop)
			if bundleFile != "" {
				b := collect(c.Context(), file, &shop, said.Bytes(), l.heard.Bytes())
				if err := b.save(c.OutOrStdout(), bundleFile); err != nil {
					return err
				}
			}
			return l.verdict()
		},
	}
	f := c.Flags()
	configFlag(f, &file)
	f.BoolVar(&offline, "offline", false, "check only the configuration and the files that it names: no device, broker or port")
	f.StringVar(&bundleFile, "bundle", "", "a new zip file for what somebody far away needs in order to help")
	return c
}

// counted is a number with its noun.
func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// checklist prints a line for each thing that was looked at.
type checklist struct {
	out    io.Writer
	faults int
	heard  bytes.Buffer    // raw lines of the scales
	read   []sensorReading // of the sensors that could be read
}

// sensorReading is the temperature that a sensor shows, in °C.
type sensorReading struct {
	sensor  string
	celsius float64
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
		return fmt.Errorf("check: %s; each line that begins with fault says what to do", counted(l.faults, "fault", "faults"))
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
		l.sensor(ctx, s, shop)
	}
	for _, t := range shop.Trends {
		l.trend(ctx, t, shop)
	}
	l.checksDue(ctx, shop)
	if shop.Broker.Listen != "" {
		l.port("built-in broker", shop.Broker.Listen)
	}
	l.mqtt(ctx, shop)
	l.plant(ctx, shop)
	l.port("page", shop.HTTP.Listen)
}

// questions prints what in the configuration is allowed and hardly meant. It is no fault, except for
// what only a bench that has run already must keep.
func (l *checklist) questions(shop config.Shop) {
	_, err := os.Stat(filepath.Join(shop.DataDir, journal.FileName))
	for _, of := range []struct{ what, prefix string }{{"mqtt", shop.MQTT.TopicPrefix}, {"plant", shop.Plant.TopicPrefix}} {
		if errors.Is(err, fs.ErrNotExist) && strings.Contains(of.prefix, ".") {
			l.fault(of.what, "topic_prefix %s has a dot, which some brokers change; this bench has not run yet: use hyphens", of.prefix)
		}
	}
	for _, d := range shop.Question(time.Now()) {
		fmt.Fprintf(l.out, "doubt  %-24s %s\n", "configuration", d)
	}
}

// sheets prints which figures of the data sheets would make the bands narrower. It is no fault.
func (l *checklist) sheets(shop config.Shop) {
	for _, k := range shop.Inks {
		if k.Sheet.About != 0 {
			fmt.Fprintf(l.out, "advice %-24s one figure makes the band 30 %% wider: ask the ink maker for the shortest and the longest pot life, "+
				"at the temperature nearest to your shop's (the figure here holds at %g °C)\n", "ink "+k.ID, k.Life.AtTemperatureC)
		}
		for _, read := range l.read {
			if k.Life.FarFrom(read.celsius) {
				fmt.Fprintf(l.out, "advice %-24s its data sheet's figures hold at %g °C and sensor %s reads %.1f °C, which makes the band wider: "+
					"ask the ink maker for the pot life at the temperature nearest to your shop's\n", "ink "+k.ID, k.Life.AtTemperatureC, read.sensor, read.celsius)
				break
			}
		}
	}
}

// files looks at the files that the configuration names.
func (l *checklist) files(shop config.Shop) {
	if file := shop.HTTP.WebConfigFile; file != "" {
		if err := web.CheckConfigFile(file); err != nil {
			l.fault("web_config_file", "%v", err)
		} else {
			l.good("web_config_file", "%s can be used", file)
		}
	}
	if shop.Broker.CertFile != "" {
		if _, err := broker.LoadCertificate(shop.Broker); err != nil {
			l.fault("broker certificate", "%v", err)
		} else {
			l.good("broker certificate", "%s and its key can be used", shop.Broker.CertFile)
		}
	}
	l.certificates(shop, time.Now())
	for _, secret := range daemon.Secrets(shop) {
		if err := secret.Check(); err != nil {
			l.fault(secret.What, "%v", err)
		}
	}
	_, hall := mqtt.FromShop(shop)
	_, plant := mqtt.PlantFromShop(shop)
	for _, one := range slices.Concat(joined(hall), joined(plant)) {
		l.fault("mqtt", "%v", one)
	}
}

// joined returns the errors that errors.Join put together, or err alone; none for nil.
func joined(err error) []error {
	if err == nil {
		return nil
	}
	if list, ok := err.(interface{ Unwrap() []error }); ok {
		return list.Unwrap()
	}
	return []error{err}
}

// dataDir looks whether the journal's folder can be written. The service makes a folder
// that is not there, if it may.
func (l *checklist) dataDir(shop config.Shop) {
	folder := filepath.Clean(shop.DataDir)
	f, err := os.CreateTemp(folder, ".check-*")
	if errors.Is(err, fs.ErrNotExist) {
		l.missingDataDir(folder)
		return
	}
	if err == nil {
		err = errors.Join(f.Close(), os.Remove(f.Name()))
	}
	if err != nil {
		l.fault("data_dir", "%v; let the service's user write in this folder", err)
		return
	}
	l.good("data_dir", "%s can be written", folder)
}

// missingDataDir tries whether the folder can be made, and leaves nothing behind.
func (l *checklist) missingDataDir(folder string) {
	parent := filepath.Dir(folder)
	for {
		if _, err := os.Stat(parent); !errors.Is(err, fs.ErrNotExist) {
			break
		}
		parent = filepath.Dir(parent)
	}
	trial, err := os.MkdirTemp(parent, ".check-*")
	if err == nil {
		err = os.Remove(trial)
	}
	if err != nil {
		l.fault("data_dir", "%s does not exist, and this user cannot make it: %v; make the folder and give it to the service's user", folder, err)
		return
	}
	l.good("data_dir", "%s does not exist yet; the service makes it when it starts", folder)
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
		l.good("access", "no PIN is set: changes are taken from this computer only, and with a token (%d); see potlifed pin --help", len(tokens))
	}
}

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

// pageHasTLS reports whether a web configuration file asks for TLS.
func pageHasTLS(file string) bool {
	certificate, _ := web.TLSFiles(file)
	return certificate != ""
}

// addresses prints where the page can be reached.
func (l *checklist) addresses(shop config.Shop) {
	host, port, err := net.SplitHostPort(shop.HTTP.Listen)
	if err != nil { // the configuration was checked
		return
	}
	scheme := "http"
	if pageHasTLS(shop.HTTP.WebConfigFile) {
		scheme = "https"
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
