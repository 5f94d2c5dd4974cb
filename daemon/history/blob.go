package history

import (
	"encoding/binary"
	"errors"
	"math"
	"time"

	"potlifed/model/air"
)

// Reading is one reading of a sensor.
type Reading struct {
	At  time.Time
	Air air.State
}

// The bodies begin with the version of their layout. Temperatures are stored in 0.001 °C and
// humidities in 0.001 %, finer than any sensor resolves.
const (
	layout    = 1
	perUnit   = 1000
	perMilli  = int64(time.Millisecond)
	maxMillis = 24 * 60 * 60 * 1000 // no body spans more than a day
)

var errBody = errors.New("history: a stored body is damaged")

func milli(v float64) int64 { return int64(math.Round(v * perUnit)) }

func unmilli(v int64) float64 { return float64(v) / perUnit }

// encodeReadings writes readings in the order of time, each as the difference to the one before:
// milliseconds, temperature, humidity. A reading every 5 s takes about five bytes. Invariant: the
// running values are those of the last reading written.
func encodeReadings(readings []Reading) []byte {
	body := []byte{layout}
	var ms, t, h int64
	for i, r := range readings {
		at := r.At.UnixNano() / perMilli
		if i == 0 {
			ms = at
		}
		nt, nh := milli(r.Air.TemperatureC), milli(r.Air.HumidityPct)
		body = binary.AppendUvarint(body, uint64(at-ms))
		body = binary.AppendVarint(body, nt-t)
		body = binary.AppendVarint(body, nh-h)
		ms, t, h = at, nt, nh
	}
	return body
}

// decodeReadings returns what encodeReadings wrote; start is the time of the first reading.
func decodeReadings(start time.Time, body []byte) ([]Reading, error) {
	d := decoder{rest: body}
	d.version()
	var out []Reading
	var t, h int64
	ms := int64(0)
	for len(d.rest) > 0 && !d.failed {
		ms += d.unsigned(maxMillis)
		t += d.signed()
		h += d.signed()
		r := Reading{
			At:  start.Add(time.Duration(ms) * time.Millisecond),
			Air: air.State{TemperatureC: unmilli(t), HumidityPct: unmilli(h)},
		}
		if ms > maxMillis || r.Air.Valid() != nil {
			return nil, errBody
		}
		out = append(out, r)
	}
	if d.failed {
		return nil, errBody
	}
	return out, nil
}

// encodeBuckets writes the buckets that have a weight, each with its place in the list.
func encodeBuckets(buckets []Bucket) []byte {
	body := []byte{layout}
	for i, b := range buckets {
		if b.Weight <= 0 {
			continue
		}
		body = binary.AppendUvarint(body, uint64(i))
		body = binary.AppendUvarint(body, uint64(b.Weight))
		body = binary.AppendUvarint(body, uint64(b.Doubtful))
		for _, v := range [][3]float64{
			{b.Mean.TemperatureC, b.Lowest.TemperatureC, b.Highest.TemperatureC},
			{b.Mean.HumidityPct, b.Lowest.HumidityPct, b.Highest.HumidityPct},
		} {
			mean := milli(v[0])
			body = binary.AppendVarint(body, mean)
			body = binary.AppendUvarint(body, uint64(max(0, mean-milli(v[1]))))
			body = binary.AppendUvarint(body, uint64(max(0, milli(v[2])-mean)))
		}
	}
	return body
}

// decodeBuckets returns a list of buckets, as encodeBuckets wrote it. It is stored in out, which has its length.
func decodeBuckets(out []Bucket, body []byte) ([]Bucket, error) {
	clear(out)
	d := decoder{rest: body}
	d.version()
	next := int64(0)
	for len(d.rest) > 0 && !d.failed {
		i := d.unsigned(int64(len(out)) - 1)
		if d.failed || i < next {
			return nil, errBody
		}
		next = i + 1
		b := Bucket{Weight: d.unsigned(math.MaxInt32), Doubtful: d.unsigned(math.MaxInt32)}
		t, h := d.spread(), d.spread()
		b.Mean = air.State{TemperatureC: t[0], HumidityPct: h[0]}
		b.Lowest = air.State{TemperatureC: t[1], HumidityPct: h[1]}
		b.Highest = air.State{TemperatureC: t[2], HumidityPct: h[2]}
		if b.Weight == 0 || b.Doubtful > b.Weight || b.Mean.Valid() != nil || b.Lowest.Valid() != nil || b.Highest.Valid() != nil {
			return nil, errBody
		}
		out[i] = b
	}
	if d.failed {
		return nil, errBody
	}
	return out, nil
}

// decoder reads numbers; after a fault it returns zeros and says so in failed.
type decoder struct {
	rest   []byte
	failed bool
}

func (d *decoder) version() {
	if len(d.rest) == 0 || d.rest[0] != layout {
		d.failed = true
		return
	}
	d.rest = d.rest[1:]
}

func (d *decoder) unsigned(most int64) int64 {
	v, n := binary.Uvarint(d.rest)
	if d.failed || n <= 0 || v > uint64(max(most, 0)) {
		d.failed = true
		return 0
	}
	d.rest = d.rest[n:]
	return int64(v)
}

// mostMilli is beyond every temperature and humidity.
const mostMilli = 1 << 24

func (d *decoder) signed() int64 {
	v, n := binary.Varint(d.rest)
	if d.failed || n <= 0 || v > mostMilli || v < -mostMilli {
		d.failed = true
		return 0
	}
	d.rest = d.rest[n:]
	return v
}

// spread returns mean, lowest and highest.
func (d *decoder) spread() [3]float64 {
	mean := d.signed()
	lowest := mean - d.unsigned(mostMilli)
	highest := mean + d.unsigned(mostMilli)
	return [3]float64{unmilli(mean), unmilli(lowest), unmilli(highest)}
}
