package main

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"testing"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/clock"
	"potlifed/daemon/history"
	"potlifed/daemon/instruments"
	"potlifed/daemon/journal"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// yearBoot is the boot of the year, as long as the kernel's names of boots: it is stored with each record.
const yearBoot = "7d1f6d0e-6a3b-4d3c-9f60-2f3a5a1c2b4d"

// footprintZones are the zones of the bench whose footprint is measured, each with a sensor.
var footprintZones = []string{"bench", "hall", "store"}

// year is a bench whose last year is written into a data directory.
type year struct {
	b       testing.TB
	journal *journal.Journal
	state   record.State
	group   []record.Record
	now     time.Time
	began   time.Time
}

// Now and Snapshot make the year the clock and the bench of its history.
func (y *year) Now() clock.Instant {
	return clock.Instant{Wall: y.now, Boot: yearBoot, Mono: y.now.Sub(y.began), Synced: true}
}

func (y *year) Snapshot() *view.Snapshot {
	return &view.Snapshot{At: y.now, Mono: y.now.Sub(y.began), ClockSynced: true}
}

// noBench is the sink of readings that only the history takes.
type noBench struct{ instruments.Sink }

func (noBench) SensorRead(context.Context, string, instruments.SensorReading) {}

// roomAt is air that follows the day and the year, with the noise of a sensor's last digits.
func roomAt(t time.Time) air.State {
	day := 2 * math.Pi * float64(t.Unix()%86_400) / 86_400
	season := 2 * math.Pi * float64(t.YearDay()) / 365
	noise := float64(t.Unix()*7919%101)/101 - 0.5
	digits := func(x float64) float64 { return math.Round(x*1000) / 1000 } // the kernel's drivers have thousandths
	return air.State{
		TemperatureC: digits(21 + 2*math.Cos(season) + 2*math.Sin(day) + 0.04*noise),
		HumidityPct:  digits(45 - 10*math.Cos(season) + 8*math.Cos(day) + 0.3*noise),
	}
}

// writeYear writes a year of operation into a data directory: the air of three zones by the minute, as the
// service keeps it, twelve batches a day from the mix to the end, and the readings of three sensors, each
// minute at first and each 5 s in the last two weeks.
func writeYear(b testing.TB, dir string) {
	b.Helper()
	quiet := slog.New(slog.DiscardHandler)
	j, err := journal.Open(dir, quiet, func(time.Duration) {})
	if err != nil {
		b.Fatal(err)
	}
	end := time.Now().UTC().Truncate(time.Minute).Add(-time.Minute)
	y := &year{b: b, journal: j, began: end.AddDate(-1, 0, 0)}
	y.now = y.began
	if y.state, err = j.Load(b.Context()); err != nil {
		b.Fatal(err)
	}
	y.writes("bench", record.Started{Instance: "year", Version: "test"})
	for ; y.now.Before(end); y.now = y.now.Add(15 * time.Minute) {
		y.quarter()
	}
	y.writes("bench", record.Stopped{})
	y.commit(true)
	y.thin(end)

	y.now = y.began
	past := history.New(history.Settings{
		Dir: dir, Journal: j, Bench: y, Sink: noBench{}, Clock: y, Log: quiet, RawFor: 14 * 24 * time.Hour, MinutesFor: 400 * 24 * time.Hour,
	})
	ctx, stop := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	go func() { ended <- past.Run(ctx) }()
	y.readings(past, end)
	stop()
	if err := <-ended; err != nil {
		b.Fatal(err)
	}
	if s := past.State(); s.Detail != "" || s.Dropped > 0 {
		b.Fatalf("%+v", s)
	}
	if err := past.Close(); err != nil {
		b.Fatal(err)
	}
	if err := j.Close(); err != nil {
		b.Fatal(err)
	}
}

// thin thins the air as the service has done by then: it thins a part with each checkpoint.
func (y *year) thin(end time.Time) {
	const atOnce = 4000
	for range 365*24*60*len(footprintZones)/atOnce + 1 {
		if err := y.journal.Write(journal.Group{Thin: &journal.Thinning{RawBefore: end.AddDate(0, 0, -14), MinutesBefore: end.AddDate(0, 0, -400)}}); err != nil {
			y.b.Fatal(err)
		}
	}
}

// quarter writes a quarter of an hour of the journal.
func (y *year) quarter() {
	if y.now.Hour() >= 6 && y.now.Hour() < 18 && y.now.Minute() < 15 {
		y.batch(fmt.Sprintf("%s-%d", y.now.Format("0102"), y.now.Hour()-5))
	}
	quarter := y.now
	for ; y.now.Before(quarter.Add(15 * time.Minute)); y.now = y.now.Add(time.Minute) {
		from, to := roomAt(y.now.Add(-time.Minute)), roomAt(y.now)
		for _, zone := range footprintZones {
			y.writes("bench", record.AirStep{
				Zone: zone, Start: y.now.Add(-time.Minute), After: to, ReadAt: y.now,
				Step: cure.Step{Duration: time.Minute, From: from, To: to, Kind: cure.Measured},
			})
		}
	}
	y.now = quarter
	if y.now.Hour() == 0 && y.now.Minute() < 15 {
		y.commit(false)
	}
}

// batch writes a batch from its mix to its end.
func (y *year) batch(id string) {
	m, err := guide.Recorded(guide.Recipe{Ratio: 5, TolerancePct: 5, InkTargetG: 85, ThinnerPct: 7, ThinnerMinPct: 6, ThinnerMaxPct: 14, DivisionG: 1},
		mix.Amounts{InkG: 85, HardenerG: 17, ThinnerG: 8}, y.now, y.now)
	if err != nil {
		y.b.Fatal(err)
	}
	life, err := cure.Sheet{Shortest: 270 * time.Minute, Longest: 330 * time.Minute}.Calibrate()
	if err != nil {
		y.b.Fatal(err)
	}
	place := cure.Place{Exposure: 1, Lag: 25 * time.Minute}
	y.writes("tablet", record.Recorded{
		Batch: id, Day: y.now.Format("20060102"), Ink: "dial-satin", Zone: "bench", Cup: "cup-110", MixedAt: y.now, Mix: m,
		Basis: record.Basis{Life: life, Place: place},
	})
	y.writes("tablet", record.Loaded{Batch: id, Press: "press-1", Zone: "hall", Place: place})
	y.writes("tablet", record.Closed{Batch: id, Ink: "dial-satin", Press: "press-1", Outcome: lifecycle.UsedUp, StillGood: lifecycle.GoodYes})
}

// writes queues a record and applies it.
func (y *year) writes(by actor.Name, body record.Body) {
	r := record.Record{Stamp: record.Stamp{At: y.now, Boot: yearBoot, Mono: y.now.Sub(y.began), Synced: true}, By: by, Body: body}
	if r.IsEvent() {
		r.Seq = y.state.Seq + 1
	}
	y.state = record.Apply(y.state, r)
	y.group = append(y.group, r)
}

// commit writes what is queued.
func (y *year) commit(checkpoint bool) {
	g := journal.Group{Records: y.group}
	if checkpoint {
		g.Checkpoint = &y.state
	}
	if err := y.journal.Write(g); err != nil {
		y.b.Fatal(err)
	}
	y.group = nil
}

// readings passes the sensors' readings to the history, which takes them by a queue.
func (y *year) readings(past *history.History, end time.Time) {
	for n := 0; y.now.Before(end); n++ {
		every := time.Minute
		save := 24 * 60
		if end.Sub(y.now) < 14*24*time.Hour {
			every, save = 5*time.Second, 60
		}
		for _, zone := range footprintZones {
			past.SensorRead(y.b.Context(), zone+"-air", instruments.SensorReading{Air: roomAt(y.now)})
		}
		y.now = y.now.Add(every)
		if n%save == 0 {
			time.Sleep(2 * time.Millisecond) // the queue is emptied meanwhile
			if err := past.Save(y.b.Context()); err != nil {
				y.b.Fatal(err)
			}
		} else if n%60 == 0 {
			time.Sleep(200 * time.Microsecond)
		}
	}
}
