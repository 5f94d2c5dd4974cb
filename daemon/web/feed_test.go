package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/view"
)

// heard is what a reader of the stream knows: the newest row of each kind and id.
type heard map[string]map[string]any

func (h heard) take(t *rapid.T, burst []byte) {
	for event := range strings.SplitSeq(strings.TrimSuffix(string(burst), "\n\n"), "\n\n") {
		if event == "" {
			continue
		}
		name, data, ok := strings.Cut(strings.TrimPrefix(event, "event: "), "\ndata: ")
		var row map[string]any
		if err := json.Unmarshal([]byte(data), &row); !ok || err != nil {
			t.Fatalf("event %q: %v", event, err)
		}
		key := fmt.Sprint(name, row["id"], row["zone"], row["name"], row["subject"])
		if row["state"] == "normal" || row["state"] == "closed" {
			delete(h, key)
		} else {
			h[key] = row
		}
	}
}

// TestEveryReaderKnowsTheNewestRows: whenever readers come, and however seldom, after its burst each
// knows what one knows that has just come: all rows that there are, and none that is over. A reader that
// takes nothing for [goneFor] is given up, and comes again as a new one.
func TestEveryReaderKnowsTheNewestRows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, now := newFeed(), *shop()
		now.Alarms, now.Batches, now.Lights = nil, nil, nil
		cursors, know, read := make([]cursor, 3), []heard{{}, {}, {}}, make([]time.Duration, 3)
		t.Repeat(map[string]func(*rapid.T){
			"alarms": func(t *rapid.T) {
				now.Alarms = nil
				for i := range rapid.IntRange(0, 4).Draw(t, "alarms") {
					now.Alarms = append(now.Alarms, view.Alarm{Name: "clock", Subject: fmt.Sprint(i), State: "unacknowledged", Text: rapid.SampledFrom([]string{"a", "b"}).Draw(t, "text")})
				}
			},
			"weight": func(t *rapid.T) {
				scale := now.Scales[0]
				scale.WeightG = ptr(float64(rapid.IntRange(0, 3).Draw(t, "g")))
				now.Scales = []view.Scale{scale}
			},
			"later": func(t *rapid.T) {
				now.Mono += rapid.SampledFrom([]time.Duration{time.Second, goneFor / 2, 2 * goneFor}).Draw(t, "by")
				for i, at := range read {
					if now.Mono-at > goneFor {
						cursors[i], know[i] = cursor{}, heard{}
					}
				}
			},
			"reads the weights": func(t *rapid.T) {
				if i := rapid.IntRange(0, 2).Draw(t, "reader"); cursors[i].begun {
					now.Mono++
					n := now
					know[i].take(t, f.weights(&cursors[i], &n)) // the alarms are as they were, so this is no reading of them
				}
			},
			"reads": func(t *rapid.T) {
				i := rapid.IntRange(0, 2).Draw(t, "reader")
				now.Mono++
				n := now
				know[i].take(t, f.burst(&cursors[i], &n, nil))
				read[i] = now.Mono
				fresh := heard{}
				fresh.take(t, joined(newFollower().burst(&n, nil)))
				if len(fresh) != len(know[i]) {
					t.Fatalf("the reader knows %d rows, there are %d", len(know[i]), len(fresh))
				}
				for key, row := range fresh {
					if is := know[i][key]; is == nil || is["text"] != row["text"] || is["weight_g"] != row["weight_g"] {
						t.Fatalf("%s is %v, and the reader knows %v", key, row, is)
					}
				}
				if most := 2*len(f.rest.latest) + 17; len(f.rest.order) > most {
					t.Fatalf("%d changes are kept, want %d at most", len(f.rest.order), most)
				}
			},
		})
	})
}

// BenchmarkManyReaders is what 200 readers cost when one of 500 batches has changed: each comparing by
// itself, and with the feed; and what they cost when all come at once.
func BenchmarkManyReaders(b *testing.B) {
	const readers = 200
	n := *shop()
	for len(n.Batches) < 500 {
		n.Batches = append(n.Batches, openBatch(fmt.Sprintf("0612-%d", 10+len(n.Batches))))
	}
	next := func() *view.Snapshot {
		n.Mono++
		n.Batches[7].Prints++
		n.Batches[7].Quality = []view.Quality{view.QualityGood, view.QualityBad}[n.Mono%2]
		is := n
		is.Batches = slices.Clone(n.Batches)
		return &is
	}
	b.Run("each", func(b *testing.B) {
		all := make([]*follower, readers)
		for i := range all {
			all[i] = newFollower()
			all[i].burst(&n, nil)
		}
		for b.Loop() {
			is := next()
			for _, f := range all {
				if len(joined(f.burst(is, nil))) == 0 {
					b.Fatal("nothing")
				}
			}
		}
	})
	b.Run("come", func(b *testing.B) {
		f := newFeed()
		for b.Loop() {
			is := next()
			for range readers {
				if len(f.burst(&cursor{}, is, nil)) == 0 {
					b.Fatal("nothing")
				}
			}
			n.Mono += wholeFor
		}
	})
	b.Run("feed", func(b *testing.B) {
		f, all := newFeed(), make([]cursor, readers)
		for i := range all {
			f.burst(&all[i], &n, nil)
		}
		for b.Loop() {
			is := next()
			for i := range all {
				if !bytes.Contains(f.burst(&all[i], is, nil), []byte("batch")) {
					b.Fatal("nothing")
				}
			}
		}
	})
}
