package daemon

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"time"

	"potlifed/daemon/report"
	"potlifed/daemon/study"
	"potlifed/daemon/worker"
)

// studies answers questions about rejects from the history, in a process of its own where the service has a
// command for that.
type studies struct {
	*study.Runner
	process *worker.Process // nil without a command
	log     *slog.Logger
}

func (s *service) study() studies {
	now := func() time.Time { return s.bench.Snapshot().At }
	of := studies{study.NewRunner(study.Stored{History: s.history, Bench: s.Shop.Bench, Now: now, Open: s.open}, s.Shop.Zone(), now), nil, s.Log}
	if len(s.Compute) > 0 {
		of.process = worker.New(s.Compute, s.job)
		of.Elsewhere = elsewhere{of.process, s.Log}
	}
	return of
}

// open returns the batches that have not ended, of which the history has no row yet.
func (s *service) open() []study.Mix {
	var list []study.Mix
	now := s.bench.Snapshot()
	for _, b := range now.Batches {
		list = append(list, study.OpenMix(b.ID, b.Ink, now.At))
	}
	return list
}

// job returns what all jobs of this bench have in common.
func (s *service) job() worker.Job {
	now := s.bench.Snapshot()
	job := worker.Job{DataDir: s.Shop.DataDir, Bench: s.Shop.Bench, TimeZone: s.Shop.Zone().String(), Now: now.At}
	for _, b := range now.Batches {
		job.Open = append(job.Open, worker.OpenBatch{Batch: b.ID, Ink: b.Ink})
	}
	return job
}

// report returns what makes reports: a process where the service has a command for that. Where it fails, the
// report is made here.
func (s *service) report(of studies) func(context.Context, io.Writer, report.Sources, report.Request) error {
	return func(ctx context.Context, w io.Writer, from report.Sources, q report.Request) error {
		if of.process == nil {
			return report.Write(ctx, w, from, q)
		}
		job := worker.Report{Request: q, Language: from.Locale.Code(), Fahrenheit: from.Locale.Fahrenheit, Zones: from.Zones, Presses: from.Presses, Kinds: map[string]string{}}
		for _, p := range s.bench.Snapshot().Presses {
			for _, d := range p.Defects {
				job.Kinds[d.Kind] = from.Kind(d.Kind)
			}
		}
		text, err := of.process.Report(ctx, job)
		switch {
		case err == nil:
			_, err = io.Copy(w, bytes.NewReader(text))
			return err
		case ctx.Err() != nil || errors.Is(err, report.ErrNoLot):
			return err
		}
		of.log.Warn("a report is made in the service's own process", "err", err)
		return report.Write(ctx, w, from, q)
	}
}

// elsewhere logs why a process has no answer.
type elsewhere struct {
	*worker.Process
	log *slog.Logger
}

func (e elsewhere) Study(ctx context.Context, q study.Request) (study.Answer, error) {
	a, err := e.Process.Study(ctx, q)
	e.failed(ctx, err)
	return a, err
}

func (e elsewhere) Chart(ctx context.Context, q study.ChartRequest) (study.Chart, error) {
	c, err := e.Process.Chart(ctx, q)
	e.failed(ctx, err)
	return c, err
}

func (e elsewhere) failed(ctx context.Context, err error) {
	if err != nil && ctx.Err() == nil {
		e.log.Warn("a study is made in the service's own process", "err", err)
	}
}
