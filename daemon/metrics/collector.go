package metrics

import (
	"math"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"potlifed/daemon/view"
	"potlifed/model/alarm"
	"potlifed/model/health"
	"potlifed/model/light"
)

// collector makes the samples of a scrape from one snapshot.
type collector struct {
	settings  Settings
	goVersion string
	bench     Bench
	names     names
}

var _ prometheus.Collector = (*collector)(nil)

func newCollector(settings Settings, bench Bench, goVersion string) *collector {
	return &collector{settings, goVersion, bench, newNames(settings.Bench)}
}

// Describe sends the descriptions of all series, so that a clash of names is found at the start.
func (c *collector) Describe(out chan<- *prometheus.Desc) {
	for _, desc := range c.names.all() {
		out <- desc
	}
}

// Collect sends the samples of one scrape. It only reads, and may run several times at once.
func (c *collector) Collect(out chan<- prometheus.Metric) {
	s, n, to := c.bench.Snapshot(), &c.names, sink(out)
	to.put(n.buildInfo, 1, c.settings.Version, c.goVersion)
	to.put(n.clockSynchronised, oneIf(s.ClockSynced))
	if c.settings.TimeLapse > 0 {
		to.put(n.timeLapse, c.settings.TimeLapse)
	}
	if c.settings.Storage != nil {
		for file, is := range c.settings.Storage() {
			to.put(n.storageBytes, float64(is.Bytes), file)
			to.put(n.storageWritable, oneIf(is.Writable), file)
		}
	}
	if c.settings.Free != nil {
		if free := c.settings.Free(); free != nil {
			to.put(n.storageFree, float64(*free))
		}
	}
	c.air(to, s.Air)
	c.sensors(to, s.Sensors)
	c.trends(to, s.Trends)
	c.scales(to, s.Scales)
	c.batches(to, s)
	c.floor(to, s)
	if c.settings.MQTT != nil {
		for _, m := range c.settings.MQTT() {
			c.mqtt(to, m)
		}
	}
}

// air leaves out values that are too old: a series that goes on with the last value of a dead
// sensor looks as if all was well.
func (c *collector) air(to sink, zones []view.Air) {
	for _, z := range zones {
		if z.Quality == view.QualityBad {
			continue
		}
		to.known(c.names.airTemperature, z.TemperatureC, z.Zone)
		if z.HumidityPct != nil {
			to.put(c.names.airHumidity, *z.HumidityPct/100, z.Zone)
		}
		to.known(c.names.airDewPoint, z.DewPointC, z.Zone)
		to.known(c.names.airVapourDensity, z.VapourDensity, z.Zone)
	}
}

// trends are the instruments that follow batches: as many series as the configuration has of them.
func (c *collector) trends(to sink, trends []view.TrendInstrument) {
	for _, v := range trends {
		up := v.Condition == health.Up
		to.put(c.names.trendUp, oneIf(up), v.ID, v.Press)
		if up {
			to.known(c.names.trendValue, v.Value, v.ID, v.Press)
		}
		to.put(c.names.trendDoubted, oneIf(v.Doubted != ""), v.ID, v.Press)
		to.counts(c.names.trendReads, v.Reads, trendResults, v.ID)
	}
}

var (
	trendResults = []string{"ok", "error"}
	readResults  = []string{"ok", "error", "rejected"}
	lineResults  = []string{"ok", "torn", "unknown", "overlong", "overload"}
)

func (c *collector) sensors(to sink, instruments []view.Sensor) {
	for _, v := range instruments {
		if v.Scale { // has series of its own, and its id may be that of a sensor
			c.scaleHealth(to, v)
			continue
		}
		if h := v.Health; h != nil {
			to.known(c.names.sensorUnchanged, h.SameS, v.ID)
			to.known(c.names.sensorJumps, h.JumpsPerDay, v.ID)
			to.known(c.names.sensorFailed, h.ErrorShare, v.ID)
			if h.DriftPct != nil {
				to.put(c.names.sensorDrift, *h.DriftPct/100, v.ID)
			}
		}
		to.findings(c.names.sensorFinding, v)
		if v.CheckDue != nil {
			to.put(c.names.sensorCheckDue, unixSeconds(*v.CheckDue), v.ID)
		}
		to.put(c.names.sensorUp, oneIf(v.Condition == health.Up), v.ID)
		for _, condition := range health.Conditions() {
			to.put(c.names.sensorCondition, oneIf(v.Condition == condition), v.ID, string(condition))
		}
		to.counts(c.names.sensorReads, v.Reads, readResults, v.ID)
		if !v.ReadAt.IsZero() {
			to.put(c.names.sensorLastReading, unixSeconds(v.ReadAt), v.ID)
			to.put(c.names.sensorReadDuration, v.LastTook.Seconds(), v.ID)
		}
		if v.Air != nil {
			to.put(c.names.sensorTemperature, v.Air.TemperatureC, v.ID, v.Zone)
			to.put(c.names.sensorHumidity, v.Air.HumidityPct/100, v.ID, v.Zone)
		}
	}
}

func (c *collector) scaleHealth(to sink, v view.Sensor) {
	if h := v.Health; h != nil {
		to.known(c.names.scaleSettle, h.SettleS, v.ID)
		to.known(c.names.scaleNoise, h.NoiseG, v.ID)
		to.known(c.names.scaleZero, h.ZeroG, v.ID)
	}
	to.findings(c.names.scaleFinding, v)
	if v.CheckDue != nil {
		to.put(c.names.scaleCheckDue, unixSeconds(*v.CheckDue), v.ID)
	}
}

func (c *collector) scales(to sink, scales []view.Scale) {
	for _, v := range scales {
		to.put(c.names.scaleUp, oneIf(v.Up), v.ID)
		to.counts(c.names.scaleLines, v.Lines, lineResults, v.ID)
		if v.Up && v.WeightG != nil {
			to.put(c.names.scaleWeight, *v.WeightG, v.ID)
			to.put(c.names.scaleStable, oneIf(v.Stable), v.ID)
		}
	}
}

func (c *collector) batches(to sink, s *view.Snapshot) {
	n := &c.names
	for i := range s.Batches {
		b := &s.Batches[i]
		press := ""
		if b.Press != nil {
			press = *b.Press
		}
		to.put(n.batchInfo, 1, b.ID, b.Ink, press, string(b.State))
		to.span(n.batchRemaining, b.RemainingS, b.ID)
		to.known(n.batchSpent, b.Spent, b.ID)
		to.known(n.batchRisk, b.Risk, b.ID)
		if b.MixedAt != nil {
			to.put(n.batchMixed, unixSeconds(*b.MixedAt), b.ID)
		}
		// A part that came from two cans is two components.
		grams := map[string]float64{}
		for _, part := range b.Components {
			grams[string(part.Part)] += part.G
		}
		for part, g := range grams {
			to.put(n.batchComponent, g, b.ID, part)
		}
	}
	for _, total := range s.ClosedTotal {
		to.put(n.batchesClosed, float64(total.Count), total.Ink, string(total.Outcome))
	}
	for _, e := range s.Ends {
		to.histogram(n.batchEndSpent, e.Count, e.SpentSum, e.Spent, string(e.Outcome))
		to.histogram(n.batchEndAge, e.Count, e.AgeSumS, e.AgeS, string(e.Outcome))
	}
}

// floor makes the samples of presses, lights and alarms.
func (c *collector) floor(to sink, s *view.Snapshot) {
	inks := map[string]string{} // of loaded batches, by press
	for i := range s.Batches {
		if b := &s.Batches[i]; b.Press != nil {
			inks[*b.Press] = b.Ink
		}
	}
	for i := range s.Presses {
		p := &s.Presses[i]
		to.put(c.names.pressInfo, 1, p.ID, p.Zone, inks[p.ID])
		for _, d := range p.Defects {
			to.put(c.names.defects, float64(d.Highest), p.ID, d.Kind)
		}
		to.span(c.names.pressRemaining, p.RemainingS, p.ID)
		to.known(c.names.pressRisk, p.Risk, p.ID)
		if p.PrintsTotal != nil {
			to.put(c.names.prints, float64(*p.PrintsTotal), p.ID)
		}
	}
	for i := range s.Lights {
		l := &s.Lights[i]
		for _, meaning := range light.Meanings() {
			to.put(c.names.light, oneIf(l.Meaning == meaning), l.ID, string(meaning))
		}
	}
	for i := range s.Alarms {
		a := &s.Alarms[i]
		state := alarm.State(a.State)
		to.put(c.names.alarmActive, oneIf(state.Active()), a.Name, a.Subject, a.Priority)
		to.put(c.names.alarmUnacknowledged, oneIf(state.Awaits()), a.Name, a.Subject)
	}
}

func (c *collector) mqtt(to sink, m MQTT) {
	to.put(c.names.mqttConnected, oneIf(m.Connected), m.Broker)
	to.put(c.names.mqttWaiting, float64(m.Waiting), m.Broker)
	for message, count := range m.Messages {
		to.put(c.names.mqttMessages, float64(count), m.Broker, message.Direction, message.Result)
	}
	for action, count := range m.Refusals {
		to.put(c.names.brokerRefusals, float64(count), action)
	}
}

// sink takes the samples of one scrape.
type sink chan<- prometheus.Metric

// put makes one sample. A value that is not a number is not known, and its sample is left out. A
// label that cannot be written is an error of that sample alone.
func (to sink) put(s series, value float64, labels ...string) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return
	}
	metric, err := prometheus.NewConstMetric(s.desc, s.kind, value, labels...)
	if err != nil {
		metric = prometheus.NewInvalidMetric(s.desc, err)
	}
	to <- metric
}

// histogram makes one histogram of a count, a sum and the counts up to each limit.
func (to sink) histogram(desc *prometheus.Desc, count uint64, sum float64, upTo map[float64]uint64, labels ...string) {
	metric, err := prometheus.NewConstHistogram(desc, count, sum, upTo, labels...)
	if err != nil {
		metric = prometheus.NewInvalidMetric(desc, err)
	}
	to <- metric
}

func (to sink) known(s series, value *float64, labels ...string) {
	if value != nil {
		to.put(s, *value, labels...)
	}
}

func (to sink) span(s series, span *view.Span[float64], id string) {
	if span == nil {
		return
	}
	to.put(s, span.Expected, id, "expected")
	to.put(s, span.Low, id, "low")
	to.put(s, span.High, id, "high")
}

// counts makes one counter for each known result, also for those that never happened: zero is
// then known, and a rate needs a first sample.
func (to sink) counts(s series, counted map[string]uint64, results []string, id string) {
	for _, result := range results {
		to.put(s, float64(counted[result]), id, result)
	}
}

// findings makes one series for each finding that there may be, also for those that there are not, so
// that a rule sees the end of one.
func (to sink) findings(s series, v view.Sensor) {
	found := v.Findings()
	for _, finding := range view.FindingsOf(v.Scale) {
		to.put(s, oneIf(slices.Contains(found, finding)), v.ID, finding)
	}
}

func oneIf(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

func unixSeconds(t time.Time) float64 { return float64(t.UnixMilli()) / 1000 }
