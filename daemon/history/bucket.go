package history

import (
	"math"

	"potlifed/model/air"
)

// Bucket is the air over an interval.
type Bucket struct {
	// Weight is what the mean was taken over: the number of readings of a sensor, or the
	// milliseconds for which a zone's air was known. Doubtful is how much of it was uncertain.
	Weight, Doubtful int64

	Mean, Lowest, Highest air.State // Lowest and Highest each by temperature and by humidity
}

// addAir adds air that counts weight times.
func (b *Bucket) addAir(a air.State, weight int64, doubtful bool) {
	one := Bucket{Weight: weight, Mean: a, Lowest: a, Highest: a}
	if doubtful {
		one.Doubtful = weight
	}
	b.Merge(one)
}

// Merge adds another bucket, of the same or of another interval.
func (b *Bucket) Merge(o Bucket) {
	if o.Weight <= 0 {
		return
	}
	if b.Weight <= 0 {
		*b = o
		return
	}
	share := float64(o.Weight) / float64(b.Weight+o.Weight)
	b.Mean = air.Lerp(b.Mean, o.Mean, share)
	b.Lowest.TemperatureC = math.Min(b.Lowest.TemperatureC, o.Lowest.TemperatureC)
	b.Lowest.HumidityPct = math.Min(b.Lowest.HumidityPct, o.Lowest.HumidityPct)
	b.Highest.TemperatureC = math.Max(b.Highest.TemperatureC, o.Highest.TemperatureC)
	b.Highest.HumidityPct = math.Max(b.Highest.HumidityPct, o.Highest.HumidityPct)
	b.Weight += o.Weight
	b.Doubtful += o.Doubtful
}
