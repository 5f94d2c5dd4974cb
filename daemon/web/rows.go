package web

import (
	"reflect"
	"time"

	"potlifed/daemon/view"
)

// The rows as they go out, by list and by stream.

// batchRow has lists where the snapshot may have none.
func batchRow(b view.Batch) view.Batch {
	b.Components, b.Corrections, b.Warnings = orEmpty(b.Components), orEmpty(b.Corrections), orEmpty(b.Warnings)
	b.Lots = orEmpty(b.Lots)
	return b
}

// lightRow is valid for a while from the snapshot on, so that a reader that is cut
// off knows when to stop believing it.
func lightRow(l view.Light, now time.Time) view.Light {
	l.ValidUntil = now.Add(view.LightValidFor)
	return l
}

const (
	// refreshed: how old a row may get at a reader that counts on by itself.
	refreshed = 10 * time.Second
	// endMoved: how far an end may move before a reader that counts down is told.
	endMoved = 5 * time.Second
)

// seen holds, by key, the rows of one kind that a reader was sent.
type seen[V any] map[string]sent[V]

type sent[V any] struct {
	row V
	at  time.Duration // the snapshot's monotonic time
}

// kind is how the rows of one kind are told apart and compared.
type kind[V any] struct {
	event string
	key   func(V) string
	// same says whether a reader that has the old row can do without the new one.
	same func(old, new V) bool
	// refresh: it is sent again after a while even so.
	refresh bool
}

// news are the rows that a reader does not have yet, and the keys of those that are
// no longer there. The rows count as sent.
func (k kind[V]) news(had seen[V], rows []V, now time.Duration) (fresh []V, gone []string) {
	there := make(map[string]bool, len(rows))
	for _, row := range rows {
		key := k.key(row)
		there[key] = true
		old, ok := had[key]
		if ok && k.same(old.row, row) && !(k.refresh && now-old.at >= refreshed) {
			continue
		}
		had[key] = sent[V]{row, now}
		fresh = append(fresh, row)
	}
	for key := range had {
		if !there[key] {
			delete(had, key)
			gone = append(gone, key)
		}
	}
	return fresh, gone
}

var airKind = kind[view.Air]{
	event: "air",
	key:   func(v view.Air) string { return v.Zone },
	same: func(a, b view.Air) bool {
		a.Mono, b.Mono, a.Measured, b.Measured = 0, 0, nil, nil
		return reflect.DeepEqual(a, b)
	},
}

// A scale that says the same weight ten times a second is news only now and then.
var scaleKind = kind[view.Scale]{
	event: "scale",
	key:   func(v view.Scale) string { return v.ID },
	same: func(a, b view.Scale) bool {
		for _, v := range []*view.Scale{&a, &b} {
			v.Time, v.Up, v.Lines = time.Time{}, false, nil
		}
		return reflect.DeepEqual(a, b)
	},
	refresh: true,
}

// A batch grows older all the time; its reader counts down from ends_at by itself.
var batchKind = kind[view.Batch]{
	event: "batch",
	key:   func(v view.Batch) string { return v.ID },
	same: func(a, b view.Batch) bool {
		if !sameEnds(a.EndsAt, b.EndsAt) {
			return false
		}
		for _, v := range []*view.Batch{&a, &b} {
			v.Prints, v.Defects = 0, nil // a press may report each print
			v.Time, v.Seq, v.AgeS, v.Spent, v.RemainingS, v.EndsAt, v.Risk, v.NextMixAt = time.Time{}, 0, nil, nil, nil, nil, nil, nil
		}
		return reflect.DeepEqual(a, b)
	},
	refresh: true,
}

var lightKind = kind[view.Light]{
	event: "light",
	key:   func(v view.Light) string { return v.ID },
	same: func(a, b view.Light) bool {
		for _, v := range []*view.Light{&a, &b} {
			v.Time, v.ValidUntil, v.Seq = time.Time{}, time.Time{}, 0
		}
		return reflect.DeepEqual(a, b)
	},
	refresh: true,
}

var alarmKind = kind[view.Alarm]{
	event: "alarm",
	key:   func(v view.Alarm) string { return v.Name + "/" + v.Subject },
	same: func(a, b view.Alarm) bool {
		a.Time, b.Time = time.Time{}, time.Time{}
		return reflect.DeepEqual(a, b)
	},
}

func sameEnds(a, b *view.Span[time.Time]) bool {
	if a == nil || b == nil {
		return a == b
	}
	near := func(a, b time.Time) bool { return a.Sub(b).Abs() < endMoved }
	return near(a.Expected, b.Expected) && near(a.Low, b.Low) && near(a.High, b.High)
}
