package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"potlifed/devices/link"
	"potlifed/devices/scale"
	"potlifed/model/weigh"
)

// listenOptions are the flags of listen.
type listenOptions struct {
	config   scale.Config
	duration time.Duration
	json     bool
	learn    bool
	shownG   float64
	request  string
}

func listenCommand() *cobra.Command {
	var o listenOptions
	c := &cobra.Command{
		Use:   "listen --port PORT",
		Short: "Print each line of a scale beside what it decodes to",
		Long: `listen opens a scale's port and prints each raw line beside the weight that it decodes
to, or beside the reason why it cannot be decoded. With --line auto it first watches some
lines to find their shape. It ends when the connection ends, after the time given with
--for, or when it is interrupted.

With --learn it finds the settings of an unknown scale: it tries the usual speeds and
frames and, on a silent port, the usual requests, asks you to put a cup on and take it
off, and prints the lines for the configuration and how sure it is.

Line shapes: ` + strings.Join(scale.ShapeNames(), ", ") + `;
or a pattern such as '{stable=ST|moving=US},{sign}{weight} {unit}'.`,
		Example: `  potlifed listen --port /dev/serial/by-id/usb-… --learn
  potlifed listen --port /dev/serial/by-id/usb-… --baud 2400 --mode 7E1 --request 'P\r\n'`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			return listen(c.Context(), o, c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&o.config.Link.Port, "port", "", "device path, best under /dev/serial/by-id; tcp://HOST:PORT; or hid:VENDOR:PRODUCT")
	f.IntVar(&o.config.Link.Baud, "baud", 9600, "speed in bit/s")
	f.StringVar(&o.config.Link.Mode, "mode", "8N1", "data bits, parity, stop bits")
	f.StringVar(&o.config.Line, "line", scale.Auto, "shape of the lines")
	f.StringVar(&o.config.Key, "print-key", "", "pattern of the line that the print key sends")
	f.StringVar(&o.request, "request", "", `what is sent to a scale that speaks only when it is asked, such as 'P\r\n'`)
	f.DurationVar(&o.config.Link.Every, "every", 200*time.Millisecond, "how often it is asked")
	f.BoolVar(&o.learn, "learn", false, "find the settings of an unknown scale")
	f.Float64Var(&o.shownG, "shown-g", 0, "with --learn: what the display shows with the cup on, in g; for a scale that sends bare numbers")
	f.DurationVar(&o.duration, "for", 0, "stop after this time; 0 for no end")
	f.BoolVar(&o.json, "json", false, "print one JSON object a line")
	return c
}

func listen(ctx context.Context, o listenOptions, out, errOut io.Writer) error {
	switch {
	case o.config.Link.Port == "":
		return usage("listen: --port is missing; name the serial port, best as under /dev/serial/by-id, tcp://HOST:PORT or hid:VENDOR:PRODUCT; potlifed ports lists what is plugged in")
	case o.duration < 0:
		return usage("listen: --for %v is negative; give a time such as 30s, or 0 for no end", o.duration)
	}
	request, err := link.ParseRequest(o.request)
	if err != nil {
		return usage("listen: --request: %w", err)
	}
	o.config.Link.Request = request
	if err := o.config.Check(); err != nil {
		return usage("listen: %w", err)
	}
	if o.learn {
		return learnScale(ctx, o, out, errOut)
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	if o.duration > 0 {
		timed, cancel := context.WithTimeout(ctx, o.duration)
		defer cancel()
		ctx = timed
	}
	show := showText
	if o.json {
		show = showJSON
	}
	counts, shape, err := scale.Watch(ctx, o.config, func(line []byte, r weigh.Reading, err error) {
		if err := show(out, line, r, err); err != nil {
			stop(fmt.Errorf("write: %w", err)) // nobody reads the output any more
		}
	})
	if err == nil && context.Cause(ctx) != ctx.Err() {
		err = context.Cause(ctx)
	}
	if err != nil {
		err = fmt.Errorf("listen: %w", plainPort(o.config.Link.Port, err))
		if advice := link.Advice(err); advice != "" {
			return fmt.Errorf("%w\n%s", err, advice)
		}
		return err
	}
	fmt.Fprintf(errOut, "shape %s: %d lines decoded, %d while learning; %d torn, %d unknown, %d too long\n",
		shape, counts.OK, counts.Learning, counts.Torn, counts.Unknown, counts.Overlong)
	if counts.OK == 0 && o.duration > 0 {
		return errNothingHeard(o, counts)
	}
	return nil
}

// portError is what is wrong with a scale's port, in words; the cause stays inside.
type portError struct {
	words string
	cause error
}

func (e *portError) Error() string { return e.words }
func (e *portError) Unwrap() error { return e.cause }

// plainPort says in a few words why a port cannot be opened. An error that is not one of
// the usual ones is returned as it is.
func plainPort(port string, err error) error {
	for _, usual := range []struct {
		cause error
		words string
	}{
		{link.ErrAbsent, "is not there"},
		{link.ErrBusy, "is in use: another program holds it"},
		{link.ErrDenied, "may not be opened by this user"},
		{link.ErrNotSerial, "is not a serial port"},
	} {
		if errors.Is(err, usual.cause) {
			return &portError{port + " " + usual.words, err}
		}
	}
	return err
}

// errNothingHeard says what is most likely wrong.
func errNothingHeard(o listenOptions, counts scale.Counts) error {
	switch {
	case counts == scale.Counts{}:
		return fmt.Errorf("listen: no line came from %q in %v: set the scale to send continuously, and check the cable", o.config.Link.Port, o.duration)
	case counts.Learning > 0:
		return fmt.Errorf("listen: too few lines came in %v to settle on a shape: listen for longer, or name the shape with --line", o.duration)
	}
	return fmt.Errorf("listen: lines came from %q and none could be decoded: check --baud and --mode against the scale's menu, and --line against the lines above, or let --learn find them", o.config.Link.Port)
}

func showText(out io.Writer, line []byte, r weigh.Reading, err error) error {
	_, werr := fmt.Fprintf(out, "%-32q %s\n", line, inWords(r, err))
	return werr
}

// inWords says in a few words what a line decoded to.
func inWords(r weigh.Reading, err error) string {
	if err != nil {
		return "- " + err.Error()
	}
	var words []string
	switch {
	case r.Over:
		words = append(words, "over range")
	case r.Under:
		words = append(words, "under range")
	case r.HasWeight:
		words = append(words, strconv.FormatFloat(r.Grams, 'f', -1, 64)+" g")
	default:
		words = append(words, "no weight")
	}
	for _, w := range []string{stabilityWord(r.Stability), tareWord(r.Tare)} {
		if w != "" {
			words = append(words, w)
		}
	}
	return strings.Join(words, ", ")
}

func stabilityWord(s weigh.Stability) string {
	switch s {
	case weigh.Stable:
		return "stable"
	case weigh.Moving:
		return "moving"
	}
	return ""
}

func tareWord(t weigh.Tare) string {
	switch t {
	case weigh.Net:
		return "net"
	case weigh.Gross:
		return "gross"
	}
	return ""
}

// heardLine is a line of listen --json. Bytes that are no text are escaped in
// raw as in a quoted Go string.
type heardLine struct {
	Raw       string   `json:"raw"`
	Grams     *float64 `json:"grams,omitempty"`
	Stability string   `json:"stability,omitempty"`
	Tare      string   `json:"tare,omitempty"`
	Over      bool     `json:"over,omitempty"`
	Under     bool     `json:"under,omitempty"`
	Error     string   `json:"error,omitempty"`
	Kind      string   `json:"kind,omitempty"`
}

func showJSON(out io.Writer, line []byte, r weigh.Reading, err error) error {
	quoted := strconv.Quote(string(line))
	h := heardLine{Raw: quoted[1 : len(quoted)-1]}
	if err != nil {
		h.Error, h.Kind = err.Error(), faultKind(err)
	} else {
		h.Stability, h.Tare, h.Over, h.Under = stabilityWord(r.Stability), tareWord(r.Tare), r.Over, r.Under
		if r.HasWeight {
			h.Grams = &r.Grams
		}
	}
	return json.NewEncoder(out).Encode(h)
}

// faultKind is the name of the count into which a rejected line goes.
func faultKind(err error) string {
	switch {
	case errors.Is(err, scale.ErrTorn):
		return "torn"
	case errors.Is(err, scale.ErrOverlong):
		return "overlong"
	case errors.Is(err, scale.ErrLearning):
		return "learning"
	}
	return "unknown"
}
