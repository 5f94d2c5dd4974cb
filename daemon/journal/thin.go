package journal

import (
	"cmp"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
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

// removes reports whether thinning removes a row that is not in the file yet: with a checkpoint it does not come into it.
func (t Thinning) removes(r row) bool {
	return r.kind == string(record.KindCounted) && r.seq == nil && r.at < t.CountedBefore.UnixNano()
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
	at    int64
	step  record.AirStep
}

// thinTo merges the finer steps before a moment into steps of the given grain. A step that is alone in its interval stays
// as it is: most steps have a minute, and writing each again would cost a card as much as recording them. So meta
// notes up to which step everything is thinned. What is recorded for a time before it, by a clock that was
// set back, stays too.
func thinTo(tx *sql.Tx, grain time.Duration, before time.Time) error {
	name := fmt.Sprintf("thinned-%d", grain)
	var from int64
	if err := tx.QueryRow(`SELECT coalesce((SELECT CAST(value AS INTEGER) FROM meta WHERE name = ?), ?)`, name, int64(math.MinInt64)).Scan(&from); err != nil {
		return err
	}
	all, err := finer(tx, grain, from, before.UnixNano())
	if err != nil || len(all) == 0 {
		return err
	}
	to := all[len(all)-1].at + 1 // and not before, which a clock may say years ahead
	if len(all) == thinAtOnce {  // the rest comes later, with the interval that is not complete here
		last := all[len(all)-1].at
		if begin := time.Unix(0, last).Truncate(grain).UnixNano(); begin > all[0].at {
			last = begin
		}
		to = last
		all = slices.DeleteFunc(all, func(k kept) bool { return k.at >= to })
	}
	slices.SortFunc(all, func(a, b kept) int {
		return cmp.Or(cmp.Compare(a.step.Zone, b.step.Zone), cmp.Compare(a.place, b.place))
	})
	for len(all) > 0 {
		n := 1
		for n < len(all) && together(all[0].step, all[n].step, grain) {
			n++
		}
		if n > 1 {
			if err := replace(tx, all[:n], grain); err != nil {
				return err
			}
		}
		all = all[n:]
	}
	_, err = tx.Exec(`INSERT INTO meta (name, value) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value`, name, strconv.FormatInt(to, 10))
	return err
}

// finer returns the steps of [from, to) that are finer than a grain, at most thinAtOnce, by their times.
func finer(tx *sql.Tx, grain time.Duration, from, to int64) (all []kept, err error) {
	var of []string
	for _, g := range []time.Duration{0, toMinutes, toQuarters} {
		if g < grain { // each is a part of the index by itself, in the order of time
			of = append(of, fmt.Sprintf(`SELECT place, at, body FROM record WHERE seq IS NULL AND kind = '%s' AND grain = %d AND at >= ?1 AND at < ?2`, record.KindAirStep, g))
		}
	}
	rows, err := tx.Query(strings.Join(of, ` UNION ALL `)+` ORDER BY at LIMIT ?3`, from, to, thinAtOnce)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var k kept
		var body []byte
		if err := rows.Scan(&k.place, &k.at, &body); err != nil {
			return nil, err
		}
		if k.step, err = stepIn(body); err != nil {
			return nil, fmt.Errorf("step at place %d: %w", k.place, err)
		}
		all = append(all, k)
	}
	return all, rows.Err()
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
	merged.Step = mean(steps)
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
