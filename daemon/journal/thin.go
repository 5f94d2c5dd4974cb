package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// Thinning says before which times air steps are stored as whole minutes, and as quarter-hours.
// No open batch may have been mixed before RawBefore. Events are never thinned.
type Thinning struct {
	RawBefore     time.Time
	MinutesBefore time.Time
	// CountedBefore is before the minute of every report of a count that has no event yet.
	// Earlier reports are removed.
	CountedBefore time.Time
}

// What air steps are thinned to.
const (
	toMinutes  = time.Minute
	toQuarters = 15 * time.Minute
)

// airOf begins a query that finds air steps by the index record_air, whatever they are thinned to.
var airOf = fmt.Sprintf(`seq IS NULL AND kind = '%s' AND grain IN (0, %d, %d)`, record.KindAirStep, toMinutes, toQuarters)

// thinAtOnce is how many steps one commit thins at most, so that the group after it waits for
// tens of milliseconds only. The rest is thinned by the next commits.
const thinAtOnce = 4000

func (j *Journal) thin(t Thinning) (err error) {
	write, err := j.writer()
	if err != nil {
		return err
	}
	tx, err := write.Begin()
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, ignoreDone(tx.Rollback()))
		}
	}()
	for _, level := range []struct {
		grain  time.Duration
		before time.Time
	}{{toMinutes, t.RawBefore}, {toQuarters, t.MinutesBefore}} {
		if err := thinTo(tx, level.grain, level.before); err != nil {
			return fmt.Errorf("thin air to %v: %w", level.grain, err)
		}
	}
	if err := removeCounted(tx, t.CountedBefore); err != nil {
		return fmt.Errorf("remove reports of counts: %w", err)
	}
	return tx.Commit()
}

// removeCounted removes the reports from before a time. It notes from which place on there are reports, since
// no index tells.
func removeCounted(tx *sql.Tx, before time.Time) error {
	const ofReports = `seq IS NULL AND kind = 'counted' AND place >= CAST((SELECT value FROM meta WHERE name = 'counted') AS INTEGER)`
	if _, err := tx.Exec(`DELETE FROM record WHERE `+ofReports+` AND at < ?`, before.UnixNano()); err != nil {
		return err
	}
	_, err := tx.Exec(`UPDATE meta SET value = CAST(coalesce((SELECT min(place) FROM record WHERE ` + ofReports + `), (SELECT max(place) FROM record), 0) AS TEXT) WHERE name = 'counted'`)
	return err
}

// kept is the row of one air step.
type kept struct {
	place int64
	step  record.AirStep
}

// thinTo merges the finer steps before a moment into steps of the given grain.
func thinTo(tx *sql.Tx, grain time.Duration, before time.Time) error {
	rows, err := tx.Query(`
		SELECT place, body FROM record WHERE `+airOf+` AND grain < ? AND at < ?
		ORDER BY zone, place LIMIT ?`, int64(grain), before.UnixNano(), thinAtOnce)
	if err != nil {
		return err
	}
	var all []kept
	for rows.Next() {
		var k kept
		var body []byte
		if err := rows.Scan(&k.place, &body); err != nil {
			rows.Close()
			return err
		}
		if k.step, err = stepIn(body); err != nil {
			rows.Close()
			return fmt.Errorf("step at place %d: %w", k.place, err)
		}
		all = append(all, k)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	for len(all) > 0 {
		n := 1
		for n < len(all) && together(all[0].step, all[n].step, grain) {
			n++
		}
		if err := replace(tx, all[:n], grain); err != nil {
			return err
		}
		all = all[n:]
	}
	return nil
}

// stepIn returns the air step of a stored body.
func stepIn(body []byte) (record.AirStep, error) {
	b, err := record.DecodeBody(record.KindAirStep, body)
	step, _ := b.(record.AirStep)
	return step, err
}

// together reports whether two steps lie in the same interval of the grain.
func together(a, b record.AirStep, grain time.Duration) bool {
	return a.Zone == b.Zone && a.Start.Truncate(grain).Equal(b.Start.Truncate(grain))
}

// replace stores one step in the place of the last of several. It has their mean and their total
// time, so that the path of the zone has no gap.
func replace(tx *sql.Tx, steps []kept, grain time.Duration) error {
	last := steps[len(steps)-1]
	merged := last.step
	merged.Start = steps[0].step.Start
	if len(steps) > 1 {
		merged.Step = mean(steps)
	}
	body, err := record.Record{Body: merged}.Stored()
	if err != nil {
		return err
	}
	for _, k := range steps[:len(steps)-1] {
		if _, err := tx.Exec(`DELETE FROM record WHERE place = ?`, k.place); err != nil {
			return err
		}
	}
	r, err := rowAt(tx, last.place)
	if err != nil {
		return err
	}
	r.body, r.starts, r.grain = body, new(merged.Start.UnixNano()), int64(grain)
	_, err = tx.Exec(`UPDATE record SET body = ?, starts = ?, grain = ?, hash = ? WHERE place = ?`,
		r.body, *r.starts, r.grain, r.hashed(seed), last.place)
	return err
}

// mean returns the mean of steps over time. Its quality is the worst of theirs.
func mean(steps []kept) cure.Step {
	sum := cure.Step{Kind: cure.Measured}
	var t, h float64
	for _, k := range steps {
		s := k.step.Step
		w := s.Duration.Seconds()
		t += w * (s.From.TemperatureC + s.To.TemperatureC) / 2
		h += w * (s.From.HumidityPct + s.To.HumidityPct) / 2
		sum.Duration += s.Duration
		sum.Uncertain = sum.Uncertain || s.Uncertain
		if s.Kind != cure.Measured {
			sum.Kind, sum.Held, sum.Worst = s.Kind, s.Held, s.Worst
		}
	}
	if w := sum.Duration.Seconds(); w > 0 {
		sum.From = air.State{TemperatureC: t / w, HumidityPct: h / w}
	} else {
		sum.From = steps[0].step.Step.From
	}
	sum.To = sum.From
	return sum
}
