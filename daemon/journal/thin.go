package journal

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// Thinning says from when on air steps are kept as whole minutes only, and from when
// on as quarter-hours. No batch that is still open may have lived before RawBefore.
// Events are kept for good.
type Thinning struct {
	RawBefore     time.Time
	MinutesBefore time.Time
}

// thinAtOnce bounds how many steps one commit thins, so that the group behind it
// waits for tens of milliseconds and no more. What is over comes with the next.
const thinAtOnce = 4000

func (j *Journal) thin(t Thinning) (err error) {
	tx, err := j.write.Begin()
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
	}{{time.Minute, t.RawBefore}, {15 * time.Minute, t.MinutesBefore}} {
		if err := thinTo(tx, level.grain, level.before); err != nil {
			return fmt.Errorf("thin air to %v: %w", level.grain, err)
		}
	}
	return tx.Commit()
}

// kept is a row of one air step.
type kept struct {
	place int64
	step  record.AirStep
}

// thinTo merges the finer steps before a moment into steps of the given grain.
func thinTo(tx *sql.Tx, grain time.Duration, before time.Time) error {
	rows, err := tx.Query(`
		SELECT place, body FROM record WHERE zone IS NOT NULL AND grain < ? AND at < ?
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
		if err := json.Unmarshal(body, &k.step); err != nil {
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

// together reports whether two steps fall into one cell of the grain.
func together(a, b record.AirStep, grain time.Duration) bool {
	return a.Zone == b.Zone && a.Start.Truncate(grain).Equal(b.Start.Truncate(grain))
}

// replace puts one step in the place of the last of several. It tells their mean, and
// how long they took together, so that the zone's path stays without a gap.
func replace(tx *sql.Tx, steps []kept, grain time.Duration) error {
	last := steps[len(steps)-1]
	merged := last.step
	merged.Start = steps[0].step.Start
	if len(steps) > 1 {
		merged.Step = mean(steps)
	}
	body, err := json.Marshal(merged)
	if err != nil {
		return err
	}
	for _, k := range steps[:len(steps)-1] {
		if _, err := tx.Exec(`DELETE FROM record WHERE place = ?`, k.place); err != nil {
			return err
		}
	}
	_, err = tx.Exec(`UPDATE record SET body = ?, starts = ?, grain = ? WHERE place = ?`,
		body, merged.Start.UnixNano(), int64(grain), last.place)
	return err
}

// mean is the mean of steps over time. It is as good as the worst of them.
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
