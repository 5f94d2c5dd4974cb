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
	Delays      []time.Duration // from an event to the subscriber
	UpAfter     time.Duration   // wire benches: until all of them were connected
	// What the subscriber did not hear: the longest time without a message of a bench, numbers of events
	// that were left out, and events that came again.
	Pause    Pause
	Gaps     int
	Repeated int
	// Lost is how often the subscriber's connection was lost; Back is the longest time from its return until
	// each light had come again, and NotBack how many topics of lights had not by the end.
	Lost    int
	Back    time.Duration
	NotBack int
	// DarkLights are the topics of lights that were told unknown, or nothing for longer than a light is valid.
	DarkLights int
	// BrokerShare is the share of one core that the broker used, and BrokerBytes its memory; 0 where its
	// process is not known.
	BrokerShare, BrokerBytes float64
	Events                   map[string]EventsReceived
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

// countBroker calculates what the broker used, from the figures at the beginning and at the end.
func (r *PlantReport) countBroker(up, end usage) {
	if end.cpu > up.cpu {
		r.BrokerShare, r.BrokerBytes = (end.cpu-up.cpu).Seconds()/end.at.Sub(up.at).Seconds(), end.memory
	}
}

// Merge adds the report of another process, which ran other benches at the same time.
func (r *PlantReport) Merge(o PlantReport) {
	n := float64(r.Benches + o.Benches)
	if n > 0 {
		r.CPUShare = (r.CPUShare*float64(r.Benches) + o.CPUShare*float64(o.Benches)) / n
		r.MemoryBytes = (r.MemoryBytes*float64(r.Benches) + o.MemoryBytes*float64(o.Benches)) / n
	}
	if r.Traffic == nil {
		r.Traffic = map[string]Traffic{}
	}
	for kind, t := range o.Traffic {
		was := r.Traffic[kind]
		r.Traffic[kind] = Traffic{was.Messages + t.Messages, was.Bytes + t.Bytes}
	}
	r.Benches, r.Mixes, r.Took = r.Benches+o.Benches, r.Mixes+o.Mixes, max(r.Took, o.Took)
	r.Latencies, r.Delays = append(r.Latencies, o.Latencies...), append(r.Delays, o.Delays...)
	r.UpAfter, r.Back, r.Lost = max(r.UpAfter, o.UpAfter), max(r.Back, o.Back), max(r.Lost, o.Lost)
	r.Gaps, r.Repeated, r.NotBack, r.DarkLights = r.Gaps+o.Gaps, r.Repeated+o.Repeated, r.NotBack+o.NotBack, r.DarkLights+o.DarkLights
	if o.Pause.Took > r.Pause.Took {
		r.Pause = o.Pause
	}
	r.WrongLights, r.MissingEvents = append(r.WrongLights, o.WrongLights...), append(r.MissingEvents, o.MissingEvents...)
}

// Total returns the traffic of all benches.
func (r *PlantReport) Total() (t Traffic) {
	for _, n := range r.Traffic {
		t.Messages, t.Bytes = t.Messages+n.Messages, t.Bytes+n.Bytes
	}
	return t
}

// Quantile returns a quantile of the latencies; 0 when there are none.
func (r *PlantReport) Quantile(q float64) time.Duration { return quantile(r.Latencies, q) }

func quantile(times []time.Duration, q float64) time.Duration {
	if len(times) == 0 {
		return 0
	}
	all := slices.Sorted(slices.Values(times))
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
	if n := len(r.Delays); n > 0 {
		fmt.Fprintf(&b, "from an event to the reader, %d events: median %s, 99 %% %s, longest %s\n", n,
			rounded(quantile(r.Delays, 0.5)), rounded(quantile(r.Delays, 0.99)), rounded(slices.Max(r.Delays)))
	}
	fmt.Fprintf(&b, "events left out %d, received again %d; longest time without a message of a bench %s (%s)\n", r.Gaps, r.Repeated, rounded(r.Pause.Took), r.Pause.Bench)
	fmt.Fprintf(&b, "lights without contact %d\n", r.DarkLights)
	if r.Lost > 0 {
		fmt.Fprintf(&b, "the reader's connection was lost %d times; each light had come again within %s of its return, %d had not by the end\n", r.Lost, rounded(r.Back), r.NotBack)
	}
	if r.UpAfter > 0 {
		fmt.Fprintf(&b, "all benches were connected after %s\n", rounded(r.UpAfter))
	}
	if r.BrokerBytes > 0 {
		fmt.Fprintf(&b, "the broker: %.1f %% of a core, %.0f MB\n", 100*r.BrokerShare, r.BrokerBytes/1e6)
	}
	wrong := slices.Concat(r.WrongLights, r.MissingEvents)
	for _, one := range wrong[:min(len(wrong), wrongNamed)] {
		fmt.Fprintln(&b, "wrong:", one)
	}
	if n := len(wrong) - wrongNamed; n > 0 {
		fmt.Fprintf(&b, "wrong: %d more\n", n)
	}
	_, err := io.WriteString(out, b.String())
	return err
}

// wrongNamed is how many of the things that are wrong are named.
const wrongNamed = 20

// rounded keeps three digits of short times.
func rounded(d time.Duration) time.Duration {
	if d < time.Second {
		return d.Round(10 * time.Microsecond)
	}
	return d.Round(10 * time.Millisecond)
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
