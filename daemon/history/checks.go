package history

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/precision"
	"potlifed/daemon/record"
)

// Check is a check of a sensor against a reference.
type Check struct {
	Time         time.Time  `json:"time" doc:"when the check was recorded"`
	Local        string     `json:"local" doc:"the same time in the shop's time zone"`
	Sensor       string     `json:"sensor" doc:"id of the sensor"`
	Seq          uint64     `json:"seq" doc:"number of the event"`
	By           actor.Name `json:"by" doc:"who recorded it"`
	Passed       bool       `json:"passed" doc:"sensor and reference differ by no more than allowed_pct"`
	ReferencePct float64    `json:"reference_humidity_pct" doc:"relative humidity of the reference in %"`
	ReferenceC   *float64   `json:"reference_temperature_c,omitempty" doc:"temperature of the reference in °C"`
	ReadPct      *float64   `json:"read_humidity_pct,omitempty" doc:"what the sensor read, in % relative humidity; absent when it had no recent reading"`
	ReadC        *float64   `json:"read_temperature_c,omitempty" doc:"what the sensor read, in °C"`
	OffPct       *float64   `json:"off_humidity_pct,omitempty" doc:"reading less reference, in % relative humidity"`
	OffC         *float64   `json:"off_temperature_c,omitempty" doc:"reading less reference, in °C"`
	AllowedPct   float64    `json:"allowed_pct,omitempty" doc:"permitted difference in % relative humidity"`
	Note         string     `json:"note,omitempty" doc:"the reference, or anything worth keeping"`
}

// checkOf returns the check that an event records; false for another event.
func checkOf(r record.Record) (c Check, ok bool) {
	e, ok := r.Body.(record.SensorVerified)
	if !ok {
		return c, false
	}
	c = Check{
		Time: r.Stamp.At, Sensor: e.Sensor, Seq: r.Seq, By: r.By, Passed: !e.Failed, ReferencePct: e.HumidityPct, ReferenceC: e.TemperatureC,
		AllowedPct: e.AllowedPct, Note: e.Note,
	}
	if e.Read != nil {
		pct, off := precision.Percent(e.Read.HumidityPct), precision.Percent(e.Read.HumidityPct-e.HumidityPct)
		celsius := precision.Celsius(e.Read.TemperatureC)
		c.ReadPct, c.OffPct, c.ReadC = &pct, &off, &celsius
		if e.TemperatureC != nil {
			off := precision.Celsius(e.Read.TemperatureC - *e.TemperatureC)
			c.OffC = &off
		}
	}
	return c, true
}

// Checks returns the checks of a sensor, or of all for "", in [from, to), oldest first.
func (h *History) Checks(ctx context.Context, sensor string, from, to time.Time, zone *time.Location, limit int) ([]Check, error) {
	h.mu.RLock()
	defer h.mu.RUnlock()
	all := map[uint64]Check{}
	if h.store != nil {
		rows, err := h.store.read.QueryContext(ctx, `SELECT body FROM verified WHERE at >= ? AND at < ? ORDER BY at`, from.UnixMilli(), to.UnixMilli())
		if err != nil {
			return nil, fmt.Errorf("history: read checks: %w", err)
		}
		defer rows.Close()
		for rows.Next() {
			var body []byte
			var c Check
			if err := rows.Scan(&body); err != nil {
				return nil, fmt.Errorf("history: read checks: %w", err)
			}
			if err := json.Unmarshal(body, &c); err != nil {
				return nil, fmt.Errorf("history: read checks: %w", err)
			}
			all[c.Seq] = c
		}
		if err := rows.Err(); err != nil {
			return nil, fmt.Errorf("history: read checks: %w", err)
		}
	}
	for _, c := range h.waiting.checks {
		if !c.Time.Before(from) && c.Time.Before(to) {
			all[c.Seq] = c
		}
	}
	out := []Check{}
	for _, c := range all {
		if sensor == "" || c.Sensor == sensor {
			c.Local = c.Time.In(zone).Format(time.RFC3339)
			out = append(out, c)
		}
	}
	if len(out) > limit {
		return nil, tooMany(limit)
	}
	slices.SortFunc(out, func(a, b Check) int { return int(int64(a.Seq) - int64(b.Seq)) })
	return out, nil
}
