package importing

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"time"

	"potlifed/daemon/history"
	"potlifed/daemon/journal"
	"potlifed/model/jars"
)

// jarMixes are the mixes of a file of jars.
type jarMixes struct {
	mixes  map[jarMix]*jarsOfMix
	looked bool // at any jar
}

// jarMix names a mix on paper.
type jarMix struct{ ink, mix string }

// jarsOfMix is what the rows so far have of a mix.
type jarsOfMix struct {
	mixedAt time.Time
	place   string         // of its first row
	rows    map[int]string // place of each jar's row
}

// jar reads a row of a filled-in form of a test in jars. A row without any look is a jar that nobody used.
func (r *reader) jar(record []string) error {
	result, looked, err := r.JarResult(record)
	if err != nil || !looked {
		return err
	}
	j := history.Jar{Mix: result.Mix, Air: result.Air, GoodH: result.LastGoodH, GoneOffH: result.EndedH}
	if j.Ink, err = r.oneOf(record, "ink", "ink", r.known.Inks); err != nil {
		return err
	}
	if j.Mix, err = r.id(record, "mix"); err != nil {
		return err
	}
	if j.MixedAt, err = r.Instant(record, "mixed_at"); err != nil {
		return err
	}
	if err := r.past(record, j); err != nil {
		return err
	}
	switch open := r.Text(record, "open"); open {
	case "", "no":
	case "yes":
		j.Open = true
	default:
		return r.Fault("open", "%s; want yes for a jar that stood open and was stirred, else no", shown(open))
	}
	if j.Number, err = r.jarNumber(record, j); err != nil {
		return err
	}
	r.jars.looked = true
	return r.sunk("mixed_at", r.to.jar(j))
}

// past refuses a test or a look in the future.
func (r *reader) past(record []string, j history.Jar) error {
	most := r.known.Now.Add(24 * time.Hour)
	if j.MixedAt.After(most) {
		return r.Fault("mixed_at", "%s is in the future", r.Text(record, "mixed_at"))
	}
	column, hours := "last_good_h", j.GoodH
	if j.GoneOffH > 0 { // later than the other
		column, hours = "gone_off_h", j.GoneOffH
	}
	if j.MixedAt.Add(time.Duration(hours * float64(time.Hour))).After(most) {
		return r.Fault(column, "%s h after %s is in the future", r.Text(record, column), r.Text(record, "mixed_at"))
	}
	return nil
}

// jarNumber returns the number of a row's jar. The jars of a mix have one first hardener, and each has one row; without a
// column jar they are numbered in their order.
func (r *reader) jarNumber(record []string, j history.Jar) (int, error) {
	key := jarMix{j.Ink, j.Mix}
	mix := r.jars.mixes[key]
	if mix == nil {
		mix = &jarsOfMix{mixedAt: j.MixedAt, place: r.Place(), rows: map[int]string{}}
		r.jars.mixes[key] = mix
	}
	if !mix.mixedAt.Equal(j.MixedAt) {
		return 0, r.Fault("mixed_at", "mix %s of %s was mixed at %s by %s; each mix needs a name of its own", shown(j.Mix), j.Ink, mix.mixedAt.Format(time.RFC3339), mix.place)
	}
	number := len(mix.rows) + 1
	if r.Text(record, "jar") != "" {
		n, err := r.Number(record, "jar", 1, jars.MaxJars)
		if err == nil && n != math.Trunc(n) {
			err = r.Fault("jar", "%v is not a whole number", n)
		}
		if err != nil {
			return 0, err
		}
		number = int(n)
	} else if number > jars.MaxJars {
		return 0, r.Fault("mix", "more than %d jars of mix %s", jars.MaxJars, shown(j.Mix))
	}
	if before, twice := mix.rows[number]; twice {
		return 0, r.Fault("jar", "jar %d of mix %s is there twice, first in %s", number, shown(j.Mix), before)
	}
	mix.rows[number] = r.Place()
	return number, nil
}

// ownJars are when the tests in jars began that the bench recorded itself, by ink.
type ownJars map[string][]time.Time

// readOwnJars reads them from the journal in dir, where there is one.
func readOwnJars(ctx context.Context, dir string) (own ownJars, err error) {
	j, err := journal.OpenToRead(ctx, dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	state, err := j.Load(ctx)
	if err != nil {
		return nil, fmt.Errorf("read journal: %w", err)
	}
	own = ownJars{}
	for ink, tests := range state.JarTests {
		for _, t := range tests {
			own[ink] = append(own[ink], t.Started.MixedAt)
		}
	}
	return own, nil
}

// jar adds a jar, unless the bench recorded its test.
func (a adding) jar(j history.Jar) error {
	for _, began := range a.own[j.Ink] {
		if history.SameJarTest(began, j.MixedAt) {
			return fmt.Errorf("%w, as begun at %s", history.ErrMeasured, began.In(a.days.zone).Format(time.RFC3339))
		}
	}
	return a.to.Jar(j)
}
