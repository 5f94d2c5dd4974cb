package journal

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/record"
)

// written writes bodies as events one after another, a minute apart.
func written(t testing.TB, j *Journal, bodies ...record.Body) {
	t.Helper()
	var g Group
	for i, b := range bodies {
		at := began.Add(time.Duration(i) * time.Minute)
		g.Records = append(g.Records, record.Record{Seq: uint64(i + 1), By: "anna", Stamp: record.Stamp{At: at, Boot: "b", Synced: true}, Body: b})
	}
	if err := j.Write(g); err != nil {
		t.Fatal(err)
	}
}

func seqs(records []record.Record, err error) string {
	if err != nil {
		return err.Error()
	}
	var list []uint64
	for _, r := range records {
		list = append(list, r.Seq)
	}
	return strings.Trim(fmt.Sprint(list), "[]")
}

func TestWhereALotWent(t *testing.T) {
	j := openAt(t, t.TempDir())
	written(t, j,
		record.Started{Instance: "i"}, record.CanMade{Can: "ink-1", Part: "ink", Material: "dial-satin", Lot: "A 17"}, // 1, 2
		record.HardenerBegun{Batch: "0612-1"}, record.Tested{Batch: "0612-1"}, // 3, 4
		record.PouredFrom{Batch: "0612-1", Can: "ink-1", Lot: "A 17"}, record.Good{Batch: "0612-1"}, // 5, 6
		record.Split{Batch: "0612-1b", From: "0612-1"}, record.ToppedUp{Batch: "0612-2", From: "0612-1"}, // 7, 8
		record.ClockChanged{Step: time.Second}, record.PouredFrom{Batch: "0612-3", Can: "ink-2", Lot: "a 17"}, // 9, 10
		record.Closed{Batch: "0612-3", Ink: "dial-satin", Outcome: "used-up"}, record.Abandoned{Batch: "0612-4"}, // 11, 12
	)
	ctx := t.Context()
	for _, c := range []struct{ what, got, want string }{
		{"about a batch", seqs(j.About(ctx, "0612-1")), "3 4 5 6 7 8"},
		{"about a part", seqs(j.About(ctx, "0612-1b")), "7"},
		{"about none", seqs(j.About(ctx, "0612-9")), ""},
		{"what moved the clock", seqs(j.Clock(ctx, 2, 9)), "9"},
		{"the clock from the start", seqs(j.Clock(ctx, 0, math.MaxUint64)), "1 9"},
		{"from a can", seqs(j.PouredFromCan(ctx, "ink-1", math.MaxUint64, 10)), "5"},
		{"from a lot", seqs(j.PouredFromLot(ctx, "A 17", math.MaxUint64, 10)), "10 5"},
		{"from a lot, one at a time", seqs(j.PouredFromLot(ctx, "A 17", math.MaxUint64, 1)), "10"},
		{"from a lot, the next", seqs(j.PouredFromLot(ctx, "A 17", 10, 1)), "5"},
		{"over", seqs(j.Over(ctx, began, began.Add(time.Hour), 10)), "11 12"},
		{"ended", seqs(j.Ended(ctx, began, began.Add(time.Hour), math.MaxUint64, 10)), "12 11 8"},
		{"ended, one at a time", seqs(j.Ended(ctx, began, began.Add(time.Hour), math.MaxUint64, 1)), "12"},
		{"ended, the next", seqs(j.Ended(ctx, began, began.Add(time.Hour), 12, 1)), "11"},
		{"ended, to the minute", seqs(j.Ended(ctx, began.Add(7*time.Minute), began.Add(11*time.Minute), math.MaxUint64, 10)), "11 8"},
		{"over, to the minute", seqs(j.Over(ctx, began, began.Add(11*time.Minute), 10)), "11"},
	} {
		if c.got != c.want {
			t.Errorf("%s: events %s, want %s", c.what, c.got, c.want)
		}
	}
}

// Each question goes by its index: in a journal of many years nothing else is quick.
func TestQuestionsUseTheirIndex(t *testing.T) {
	j := openAt(t, t.TempDir())
	for index, where := range map[string]string{
		"record_batch":  `seq IS NOT NULL AND json_extract(CAST(body AS TEXT), '$.batch') = ? ORDER BY seq`,
		"record_from":   `kind IN ('split', 'topped-up') AND json_extract(CAST(body AS TEXT), '$.from') = ? ORDER BY seq`,
		"record_can":    `kind = 'poured-from' AND json_extract(CAST(body AS TEXT), '$.can') = ? AND seq < 9 ORDER BY seq DESC LIMIT 1`,
		"record_lot":    `kind = 'poured-from' AND json_extract(CAST(body AS TEXT), '$.lot') = ? COLLATE NOCASE AND seq < 9 ORDER BY seq DESC LIMIT 1`,
		"record_over":   `kind IN ('closed', 'abandoned') AND at >= ? AND at < 9 ORDER BY at LIMIT 1`,
		"record_undone": `kind = 'undone' AND EXISTS (SELECT 1 FROM json_each(CAST(body AS TEXT), '$.batches') WHERE value = ?) ORDER BY +seq`,
		"record_seq":    `seq > ? ORDER BY seq LIMIT 1`,
		"record_air":    airOf + ` AND at >= ? AND at < 9 AND zone = 'hall' ORDER BY place`,
		"record_clock":  `kind IN ('clock-changed', 'started') AND seq BETWEEN ? AND 9 ORDER BY seq`,
	} {
		var id, parent, unused int
		var detail string
		if err := j.db().QueryRow(`EXPLAIN QUERY PLAN `+columnsOf+`WHERE `+where, 1).Scan(&id, &parent, &unused, &detail); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(detail, "USING INDEX "+index+" ") && !strings.HasSuffix(detail, "USING INDEX "+index) {
			t.Errorf("%s: %s", index, detail)
		}
	}
}

// A journal of the first layout is brought up to date with what is in it.
func TestOldLayoutIsBroughtUpToDate(t *testing.T) {
	dir := t.TempDir()
	j := openAt(t, dir)
	written(t, j, record.PouredFrom{Batch: "0612-1", Can: "ink-1", Lot: "A 17"})
	for _, index := range []string{"batch", "from", "can", "lot", "over", "clock", "undone", "ended", "seq", "air"} {
		if _, err := j.write.Load().Exec(`DROP INDEX record_` + index); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := j.write.Load().Exec(`DROP TABLE retained; DROP TABLE lost; ALTER TABLE record DROP COLUMN hash;
		ALTER TABLE checkpoint DROP COLUMN hash; ALTER TABLE checkpoint DROP COLUMN link;
		DELETE FROM meta WHERE name <> 'journal'; PRAGMA user_version = 1`); err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j = openAt(t, dir)
	if j.Rebuilt() != nil {
		t.Errorf("it counts as damaged: %+v", j.Rebuilt())
	}
	if got := seqs(j.PouredFromLot(t.Context(), "a 17", math.MaxUint64, 10)); got != "1" {
		t.Errorf("from the lot: %s", got)
	}
}
