package history

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"potlifed/model/air"
)

var noon = time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)

// anyAir draws air in the steps in which it is stored.
func anyAir(t *rapid.T) air.State {
	return stateOf(
		unmilli(int64(rapid.IntRange(-40_000, 85_000).Draw(t, "temperature"))),
		unmilli(int64(rapid.IntRange(0, 100_000).Draw(t, "humidity"))))
}

func TestReadingsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := noon
		var in []Reading
		for range rapid.IntRange(1, 40).Draw(t, "readings") {
			in = append(in, Reading{at, anyAir(t)})
			at = at.Add(time.Duration(rapid.IntRange(0, 60_000).Draw(t, "ms")) * time.Millisecond)
		}
		out, err := decodeReadings(in[0].At, encodeReadings(in))
		if err != nil || !cmp.Equal(in, out) {
			t.Fatalf("%v\n%v\n%v", err, in, out)
		}
	})
}

// TestReadingsAreSmall: a reading every 5 s of quiet air takes about five bytes.
func TestReadingsAreSmall(t *testing.T) {
	var in []Reading
	for i := range 720 {
		in = append(in, Reading{noon.Add(time.Duration(i) * 5 * time.Second), stateOf(21+0.01*float64(i%7), 45+0.02*float64(i%5))})
	}
	if n := len(encodeReadings(in)); n > 6*len(in) {
		t.Errorf("%d bytes for %d readings", n, len(in))
	}
}

func TestBucketsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := make([]Bucket, 60)
		for i := range in {
			for range rapid.IntRange(0, 3).Draw(t, "readings") {
				in[i].addAir(anyAir(t), int64(rapid.IntRange(1, 60_000).Draw(t, "weight")), rapid.Bool().Draw(t, "doubtful"))
			}
		}
		out, err := decodeBuckets(make([]Bucket, 60), encodeBuckets(in))
		if err != nil {
			t.Fatal(err)
		}
		for i := range in {
			if in[i].Weight != out[i].Weight || in[i].Doubtful != out[i].Doubtful {
				t.Fatalf("%d: %+v, %+v", i, in[i], out[i])
			}
			for _, pair := range [][2]air.State{{in[i].Mean, out[i].Mean}, {in[i].Lowest, out[i].Lowest}, {in[i].Highest, out[i].Highest}} {
				if math.Abs(pair[0].TemperatureC-pair[1].TemperatureC) > 0.00051 || math.Abs(pair[0].HumidityPct-pair[1].HumidityPct) > 0.00051 {
					t.Fatalf("%d: %+v, %+v", i, in[i], out[i])
				}
			}
		}
	})
}

// TestMergeInAnyParts: the mean of parts is the mean of the whole.
func TestMergeInAnyParts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var whole Bucket
		parts := make([]Bucket, 3)
		var sumT, sumH float64
		n := rapid.IntRange(1, 30).Draw(t, "readings")
		lowest, highest := stateOf(99, 101), stateOf(-99, -1)
		for range n {
			a := anyAir(t)
			whole.Add(a)
			parts[rapid.IntRange(0, 2).Draw(t, "part")].Add(a)
			sumT, sumH = sumT+a.TemperatureC, sumH+a.HumidityPct
			lowest = stateOf(min(lowest.TemperatureC, a.TemperatureC), min(lowest.HumidityPct, a.HumidityPct))
			highest = stateOf(max(highest.TemperatureC, a.TemperatureC), max(highest.HumidityPct, a.HumidityPct))
		}
		var merged Bucket
		for _, p := range parts {
			merged.Merge(p)
		}
		for _, b := range []Bucket{whole, merged} {
			if b.Weight != int64(n) || b.Lowest != lowest || b.Highest != highest ||
				math.Abs(b.Mean.TemperatureC-sumT/float64(n)) > 1e-9 || math.Abs(b.Mean.HumidityPct-sumH/float64(n)) > 1e-9 {
				t.Fatalf("%+v of %d", b, n)
			}
		}
	})
}

func FuzzDecodeReadings(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte{layout})
	f.Add([]byte{layout + 1, 0})
	f.Add(encodeReadings([]Reading{{noon, stateOf(21, 45)}, {noon.Add(5 * time.Second), stateOf(21.01, 44.98)}}))
	f.Fuzz(func(t *testing.T, body []byte) {
		out, err := decodeReadings(noon, body)
		if err != nil {
			return
		}
		for i, r := range out {
			if r.Air.Valid() != nil || r.At.Before(noon) || i > 0 && r.At.Before(out[i-1].At) {
				t.Fatalf("reading %d: %+v", i, r)
			}
		}
	})
}

func FuzzDecodeBuckets(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte{layout, 200})
	var b Bucket
	b.addAir(stateOf(21, 45), 900_000, true)
	f.Add(encodeBuckets([]Bucket{{}, b, {}, b}))
	f.Fuzz(func(t *testing.T, body []byte) {
		out, err := decodeBuckets(make([]Bucket, 96), body)
		if err != nil {
			return
		}
		if len(out) != 96 {
			t.Fatalf("%d buckets", len(out))
		}
		for i, b := range out {
			if b.Weight == 0 {
				continue
			}
			if b.Mean.Valid() != nil || b.Lowest.Valid() != nil || b.Highest.Valid() != nil || b.Lowest.TemperatureC > b.Mean.TemperatureC || b.Highest.HumidityPct < b.Mean.HumidityPct || b.Doubtful > b.Weight {
				t.Fatalf("bucket %d: %+v", i, b)
			}
		}
	})
}
