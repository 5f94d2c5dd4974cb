package rehearsal

import (
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"potlifed/model/light"
)

// PlantReport is what a plant's subscriber received and what the benches used.
type PlantReport struct {
	Benches int
	Took    time.Duration // the length of the measurement
	Mixes   int           // made during the measurement
	Traffic map[string]Traffic
	// CPUShare is the share of one core that one bench used, with its simulated instruments and
	// its share of the subscriber; it is below 0 where the system does not tell. MemoryBytes is
	// the memory of one bench in the same sense.
	CPUShare    float64
	MemoryBytes float64
	Latencies   []time.Duration // from a change of the air to the light
	Events      map[string]EventsReceived
	// WrongLights are lights that do not show what the table gives for their press.
	// MissingEvents are benches of which events are missing.
	WrongLights   []string
	MissingEvents []string
}

// count calculates the report from the figures before the benches were started, when they were
// ready, and at the end.
func (r *PlantReport) count(from, to map[string]Traffic, before, up, end usage) {
	r.Took = end.at.Sub(up.at)
	r.Traffic = map[string]Traffic{}
	for kind, n := range to {
		if was := from[kind]; n.Messages > was.Messages {
			r.Traffic[kind] = Traffic{n.Messages - was.Messages, n.Bytes - was.Bytes}
		}
	}
	n := float64(r.Benches)
	r.CPUShare, r.MemoryBytes = -1, -1
	if end.cpu > 0 {
		r.CPUShare = (end.cpu - up.cpu).Seconds() / r.Took.Seconds() / n
	}
	if end.memory > 0 {
		r.MemoryBytes = (end.memory - before.memory) / n
	}
}

// Total returns the traffic of all benches.
func (r *PlantReport) Total() (t Traffic) {
	for _, n := range r.Traffic {
		t.Messages, t.Bytes = t.Messages+n.Messages, t.Bytes+n.Bytes
	}
	return t
}

// Quantile returns a quantile of the latencies; 0 when there are none.
func (r *PlantReport) Quantile(q float64) time.Duration {
	if len(r.Latencies) == 0 {
		return 0
	}
	all := slices.Sorted(slices.Values(r.Latencies))
	return all[min(int(q*float64(len(all))), len(all)-1)]
}

// Write writes the report as text.
func (r *PlantReport) Write(out io.Writer) error {
	var b strings.Builder
	seconds, benches, all := r.Took.Seconds(), float64(r.Benches), r.Total()
	fmt.Fprintf(&b, "%d benches for %s: %.1f messages/s, %.0f bytes/s\n", r.Benches, r.Took.Round(time.Second), float64(all.Messages)/seconds, float64(all.Bytes)/seconds)
	fmt.Fprintf(&b, "%d mixes; a bench: %.3f messages/s, %.0f messages/h, %.0f bytes/h", r.Mixes, float64(all.Messages)/seconds/benches,
		3600*float64(all.Messages)/seconds/benches, 3600*float64(all.Bytes)/seconds/benches)
	if r.CPUShare >= 0 {
		fmt.Fprintf(&b, ", %.2f %% of a core", 100*r.CPUShare)
	}
	if r.MemoryBytes >= 0 {
		fmt.Fprintf(&b, ", %.1f MB", r.MemoryBytes/1e6)
	}
	b.WriteString("\n")
	for _, kind := range slices.Sorted(maps.Keys(r.Traffic)) {
		n := r.Traffic[kind]
		fmt.Fprintf(&b, "  %-14s %8.0f messages/h %10.0f bytes/h\n", kind, 3600*float64(n.Messages)/seconds/benches, 3600*float64(n.Bytes)/seconds/benches)
	}
	if n := len(r.Latencies); n > 0 {
		fmt.Fprintf(&b, "from a change of the air to the light, %d samples: median %s, 99 %% %s\n", n,
			r.Quantile(0.5).Round(time.Millisecond), r.Quantile(0.99).Round(time.Millisecond))
	}
	for _, wrong := range slices.Concat(r.WrongLights, r.MissingEvents) {
		fmt.Fprintln(&b, "wrong:", wrong)
	}
	_, err := io.WriteString(out, b.String())
	return err
}

// judgeWithin is how long the last messages may take, and a light that changes with time.
const judgeWithin = 10 * time.Second

// judge checks whether every light shows what the table gives for its press, and whether all
// events were received.
func (p *plant) judge(ctx context.Context, r *PlantReport) error {
	ctx, cancel := context.WithTimeout(ctx, 2*judgeWithin)
	defer cancel()
	again := time.NewTicker(200 * time.Millisecond)
	defer again.Stop()
	until := time.Now().Add(judgeWithin)
	for {
		r.WrongLights, r.MissingEvents, r.Events = nil, nil, map[string]EventsReceived{}
		for _, b := range p.benches {
			if err := p.judgeBench(ctx, b, r); err != nil {
				return fmt.Errorf("%s: %w", b.id, err)
			}
		}
		if len(r.WrongLights)+len(r.MissingEvents) == 0 || time.Now().After(until) {
			return nil
		}
		<-again.C
	}
}

func (p *plant) judgeBench(ctx context.Context, b *plantBench, r *PlantReport) error {
	rows, err := b.batches(ctx)
	if err != nil {
		return err
	}
	for i := range 3 {
		press, name := fmt.Sprintf("press-%d", i+1), fmt.Sprintf("light-%d", i+1)
		want := tableOf(rows, press, time.Now())
		if got := p.subscriber.light(strings.Join([]string{p.Prefix, b.id, "light", name}, "/")); got != string(want) {
			r.WrongLights = append(r.WrongLights, fmt.Sprintf("%s of %s shows %s, by the table %s", name, b.id, got, want))
		}
	}
	last, err := b.api.events(ctx)
	if err != nil {
		return err
	}
	received := p.subscriber.received(b.id)
	r.Events[b.id] = received
	if received.Last != last || received.Gaps > 0 {
		r.MissingEvents = append(r.MissingEvents, fmt.Sprintf("%s has %d events, of which number %d came last and %d are missing", b.id, last, received.Last, received.Gaps))
	}
	return nil
}

// tableOf returns what the table of the lights gives for a press, from what the bench publishes
// of its batches. A shop of this plant has no rest and no splits, and accepts no fault.
func tableOf(rows []batch, press string, now time.Time) light.Meaning {
	p := light.Press{StopAtRisk: 0.25, SoonWithin: 45 * time.Minute}
	for _, b := range rows {
		if b.on(press) {
			p.Loaded, p.QualityBad, p.QualityUncertain = true, b.Quality == "bad", b.Quality == "uncertain"
			if b.Risk != nil && b.EndsAt != nil {
				p.Risk, p.LowRemaining = *b.Risk, b.EndsAt.Low.Sub(now)
			}
		}
	}
	for _, b := range rows {
		if b.For == press && b.State == "open" && b.Step != nil {
			p.Ready = b.ID
		}
	}
	return light.Of(p).Meaning
}
