package main

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/devices/simulate"
)

// helper does what listen --learn asks for: it puts a cup on and takes it off.
type helper struct {
	scale *simulate.Scale
	told  bytes.Buffer
}

func (h *helper) Write(p []byte) (int, error) {
	switch text := string(p); {
	case strings.Contains(text, "Put a cup"):
		h.scale.Set(87.4)
	case strings.Contains(text, "Take it off"):
		h.scale.Set(0)
	}
	return h.told.Write(p)
}

// The settings that listen --learn proposes read the scale, in each shape.
func TestListenLearns(t *testing.T) {
	for _, c := range []struct {
		options   simulate.ScaleOptions
		args      []string
		line      string
		certainty string
		divisionG float64
	}{
		{simulate.ScaleOptions{}, nil, "status-first", "sure", 0.1},
		{simulate.ScaleOptions{Shape: "weight-unit", Kilograms: true}, nil, "weight-unit", "sure", 0.1},
		{simulate.ScaleOptions{Shape: "digits"}, nil, "{sign}{weight}{unit=g}", "unsure", 0.1},
		{simulate.ScaleOptions{Shape: "digits", Unit: "oz"}, []string{"--shown-g", "87.4"}, "{sign}{weight}{unit=oz}", "sure", 0},
		{simulate.ScaleOptions{Shape: "checksum"}, nil, "{net=N|gross=G}{sign}{weight} {unit} {moving=?|stable=}{check=xor,after-etx,byte,etx}", "sure", 0.1},
		{simulate.ScaleOptions{Shape: "stability-last", Request: "W\r\n", TCP: true}, nil, "stability-last", "sure", 0.1},
		{simulate.ScaleOptions{TCP: true}, nil, "status-first", "sure", 0.1},
	} {
		t.Run(c.options.Shape+c.options.Unit+c.options.Request, func(t *testing.T) {
			t.Parallel()
			o := c.options
			o.Dir, o.Every, o.Settle = t.TempDir(), 20*time.Millisecond, 100*time.Millisecond
			s, err := simulate.NewScale(o)
			if err != nil {
				t.Fatal(err)
			}
			ctx, stop := context.WithCancel(context.Background())
			ended := make(chan error, 1)
			go func() { ended <- s.Run(ctx) }()
			defer func() {
				stop()
				if err := <-ended; err != nil {
					t.Error(err)
				}
			}()
			h := &helper{scale: s}
			var out bytes.Buffer
			args := append([]string{"listen", "--port", s.Port(), "--learn", "--json", "--for", "20s"}, c.args...)
			if code := run(t.Context(), args, strings.NewReader(""), &out, h); code != exitDone {
				t.Fatalf("exit %d: %s", code, h.told.String())
			}
			var p proposed
			if err := json.Unmarshal(out.Bytes(), &p); err != nil {
				t.Fatal(err)
			}
			if p.Line != c.line || p.Certainty != c.certainty || p.Request != strings.ReplaceAll(strings.ReplaceAll(o.Request, "\r", `\r`), "\n", `\n`) || p.HighG < 87 || p.HighG > 88 || p.DivisionG != c.divisionG {
				t.Errorf("%+v\n%s", p, h.told.String())
			}
			// What is to be pasted is a configuration.
			text := "bench: b\nscales:\n" + p.yaml() + "sensors: [{id: a, zone: z, path: /sys/class/hwmon/hwmon0}]\ninks: [{id: i, hardener_ratio: \"4:1\", pot_life: {about: 8h}}]\n"
			shop, err := config.Parse("pasted", []byte(text))
			if err != nil {
				t.Fatalf("%v\n%s", err, text)
			}
			if got := shop.Scales[0]; got.Port != p.Port || got.Line != p.Line || got.Request != o.Request {
				t.Errorf("pasted: %+v", got)
			}
		})
	}
}

func TestListenLearnsNothing(t *testing.T) {
	var out, errs bytes.Buffer
	if code := run(t.Context(), []string{"listen", "--port", t.TempDir() + "/absent", "--learn"}, strings.NewReader(""), &out, &errs); code != exitFault || !strings.Contains(errs.String(), "is not there") {
		t.Errorf("exit %d: %s", code, errs.String())
	}
}
