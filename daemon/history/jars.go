package history

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"potlifed/model/air"
)

// Jar is a jar of an imported test of an ink in jars.
type Jar struct {
	Ink     string
	MixedAt time.Time // first hardener of the mix
	Mix     string    // its name on paper
	Number  int       // of the jar, from 1
	Air     air.State
	Open    bool // it stood open, and was stirred as a cup in use
	// The ages in h at which it was seen good last and gone off first; 0 for never.
	GoodH, GoneOffH float64
}

// sameJarTest is how far apart the first hardener of a test may be in two records of it.
const sameJarTest = 30 * time.Minute

// SameJarTest reports whether two tests of an ink that were mixed at these times may be one.
func SameJarTest(a, b time.Time) bool { return a.Sub(b).Abs() <= sameJarTest }

// Jar adds a jar of a test. The error is ErrImported when another file has a test of this ink and mix that began at
// about that time.
func (i *Import) Jar(j Jar) error {
	var others int
	err := i.tx.QueryRow(`SELECT count(*) FROM paper_jar WHERE ink = ? AND mix = ? AND mixed BETWEEN ? AND ? AND import <> ?`,
		j.Ink, j.Mix, j.MixedAt.Add(-sameJarTest).UnixMilli(), j.MixedAt.Add(sameJarTest).UnixMilli(), i.id).Scan(&others)
	if err != nil {
		return err
	}
	if others > 0 {
		return ErrImported
	}
	_, err = i.tx.Exec(`INSERT INTO paper_jar (ink, mixed, mix, jar, celsius, percent, open, good_h, gone_off_h, import) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		j.Ink, j.MixedAt.UnixMilli(), j.Mix, j.Number, j.Air.TemperatureC, j.Air.HumidityPct, j.Open, j.GoodH, j.GoneOffH, i.id)
	return err
}

// Jars returns the jars of the imported tests, by ink, first hardener, mix and number.
func (h *History) Jars(ctx context.Context) ([]Jar, error) {
	h.mu.RLock()
	defer h.mu.RUnlock()
	if h.store == nil {
		return nil, nil
	}
	rows, err := h.store.read.QueryContext(ctx, `SELECT ink, mixed, mix, jar, celsius, percent, open, good_h, gone_off_h FROM paper_jar ORDER BY ink, mixed, mix, jar`)
	if err != nil {
		return nil, fmt.Errorf("history: read jars: %w", err)
	}
	defer rows.Close()
	var all []Jar
	for rows.Next() {
		j, err := scanJar(rows)
		if err != nil {
			return nil, fmt.Errorf("history: read jars: %w", err)
		}
		all = append(all, j)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("history: read jars: %w", err)
	}
	return all, nil
}

func scanJar(rows *sql.Rows) (j Jar, err error) {
	var mixed int64
	err = rows.Scan(&j.Ink, &mixed, &j.Mix, &j.Number, &j.Air.TemperatureC, &j.Air.HumidityPct, &j.Open, &j.GoodH, &j.GoneOffH)
	j.MixedAt = time.UnixMilli(mixed).UTC()
	return j, err
}
