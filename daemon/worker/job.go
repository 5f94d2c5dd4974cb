// Package worker makes studies, control charts and reports in a process of their own, so that the bench's loop
// does not share its scheduler, its memory and its garbage collector with them.
package worker

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"potlifed/daemon/history"
	"potlifed/daemon/journal"
	"potlifed/daemon/report"
	"potlifed/daemon/study"
	"potlifed/daemon/words"
)

// Job is one computation, with everything that it needs beside the data directory. One of Study, Chart and Report
// is set.
type Job struct {
	DataDir  string
	Bench    string // name of the bench
	TimeZone string // of the shop
	Now      time.Time
	Open     []OpenBatch

	Study  *study.Request
	Chart  *study.ChartRequest
	Report *Report
}

// OpenBatch is a batch that has not ended.
type OpenBatch struct{ Batch, Ink string }

// Report is a report to be made.
type Report struct {
	report.Request
	Language   string // code
	Fahrenheit bool
	Zones      []string
	Presses    []report.Press
	Kinds      map[string]string // the words of the kinds of defect
}

// Do reads a job and writes its result: a [study.Answer] or a [study.Chart] as JSON, or a report. It only reads
// the data directory, and may run while the service does. The error is that of reading or writing,
// or [report.ErrNoLot].
func Do(ctx context.Context, in io.Reader, out io.Writer) (err error) {
	var job Job
	if err := json.NewDecoder(in).Decode(&job); err != nil {
		return fmt.Errorf("read the job: %w", err)
	}
	zone, err := time.LoadLocation(job.TimeZone)
	if err != nil {
		return fmt.Errorf("time zone of the job: %w", err)
	}
	j, err := journal.OpenToRead(ctx, job.DataDir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	past, err := history.OpenToRead(ctx, job.DataDir, j)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, past.Close()) }()
	once := &readOnce{History: past}
	studies := study.NewRunner(study.Stored{History: once, Bench: job.Bench, Now: func() time.Time { return job.Now }, Open: job.open}, zone, time.Now)
	studies.Alone = true
	switch {
	case job.Study != nil:
		answer, err := studies.Study(ctx, *job.Study)
		return encoded(out, answer, err)
	case job.Chart != nil:
		chart, err := studies.Chart(ctx, *job.Chart)
		return encoded(out, chart, err)
	case job.Report != nil:
		return job.Report.write(ctx, out, report.Sources{Bench: job.Bench, History: once, Study: studies}, zone)
	}
	return errors.New("the job asks for nothing")
}

// readOnce is a history whose batches are read once for a report and for the study in it.
type readOnce struct {
	*history.History
	from, to time.Time
	batches  []history.Batch // that ended in [from, to)
}

// Batches returns what [history.History.Batches] does.
func (r *readOnce) Batches(ctx context.Context, find history.Search, limit int) ([]history.Batch, error) {
	batches, err := r.History.Batches(ctx, find, limit)
	if err == nil && find == (history.Search{From: find.From, To: find.To}) {
		r.from, r.to, r.batches = find.From, find.To, batches
	}
	return batches, err
}

// EachBatch calls each as [history.History.EachBatch] does.
func (r *readOnce) EachBatch(ctx context.Context, find history.Search, each func(history.Batch) error) error {
	if find != (history.Search{From: find.From, To: find.To}) || find.From.Before(r.from) || find.To.After(r.to) {
		return r.History.EachBatch(ctx, find, each)
	}
	for _, b := range r.batches {
		if b.ClosedAt.Before(find.From) || !b.ClosedAt.Before(find.To) {
			continue
		}
		if err := each(b); err != nil {
			return err
		}
	}
	return nil
}

func encoded(out io.Writer, result any, err error) error {
	if err != nil {
		return err
	}
	return json.NewEncoder(out).Encode(result)
}

func (j Job) open() []study.Mix {
	mixes := make([]study.Mix, len(j.Open))
	for i, b := range j.Open {
		mixes[i] = study.OpenMix(b.Batch, b.Ink, j.Now)
	}
	return mixes
}

func (r Report) write(ctx context.Context, out io.Writer, from report.Sources, zone *time.Location) error {
	from.Zones, from.Presses, from.Locale = r.Zones, r.Presses, words.Locale{Zone: zone, Fahrenheit: r.Fahrenheit}
	if language, ok := words.In(r.Language); ok {
		from.Locale.Language = language
	}
	from.Kind = func(id string) string {
		if text := r.Kinds[id]; text != "" {
			return text
		}
		return id
	}
	return report.Write(ctx, out, from, r.Request)
}
