package main

import (
	"time"

	"potlifed/model/air"
)

// driedAir is air behind a dehumidifier that lets no more than so much relative humidity pass: the same temperature, and no water added
// where the air is drier already.
func driedAir(a air.State, mostPct float64) air.State {
	a.HumidityPct = min(a.HumidityPct, mostPct)
	return a
}

// dried is the climate behind such a dehumidifier. Between two rows the humidity goes in a straight line; where that passes the level a
// row is put in, so that the line is cut off exactly there.
func (c climate) dried(mostPct float64) climate {
	var out climate
	for i, row := range c {
		if i > 0 {
			before := c[i-1]
			from, to := before.air.HumidityPct, row.air.HumidityPct
			if (from < mostPct) != (to < mostPct) && from != mostPct && to != mostPct {
				f := (mostPct - from) / (to - from)
				at := before.at.Add(time.Duration(f * float64(row.at.Sub(before.at))))
				// Rows a nanosecond apart leave no instant between them.
				if at.After(before.at) && at.Before(row.at) {
					out = append(out, climateRow{at: at, air: driedAir(air.Lerp(before.air, row.air, f), mostPct)})
				}
			}
		}
		out = append(out, climateRow{at: row.at, air: driedAir(row.air, mostPct)})
	}
	return out
}
