package worker

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"time"

	"potlifed/daemon/report"
	"potlifed/daemon/study"
)

const (
	// mostTime is more than the largest job takes on a Pi.
	mostTime = 2 * time.Minute
	// mostResult bounds the bytes of a result.
	mostResult = 64 << 20
)

// ExitNoLot is the exit code of a worker's process for [report.ErrNoLot].
const ExitNoLot = 4

// Process runs each job in a new process, one at a time. Its methods may be called by several goroutines. Their
// error is that of the context, [report.ErrNoLot], or says why there is no result.
type Process struct {
	command  []string
	describe func() Job
	turn     chan struct{} // one token: who has it, runs a process
}

// New returns a Process that runs a program with its arguments, which calls [Do]. describe returns a job with
// what all jobs of the bench have in common at that moment.
func New(command []string, describe func() Job) *Process {
	return &Process{command: command, describe: describe, turn: make(chan struct{}, 1)}
}

// Study makes a study, without sentences.
func (p *Process) Study(ctx context.Context, q study.Request) (a study.Answer, err error) {
	job := p.describe()
	job.Study = &q
	return a, p.decoded(ctx, job, &a)
}

// Chart makes a control chart.
func (p *Process) Chart(ctx context.Context, q study.ChartRequest) (c study.Chart, err error) {
	job := p.describe()
	job.Chart = &q
	return c, p.decoded(ctx, job, &c)
}

// Report makes a report.
func (p *Process) Report(ctx context.Context, r Report) ([]byte, error) {
	job := p.describe()
	job.Report = &r
	return p.run(ctx, job)
}

func (p *Process) decoded(ctx context.Context, job Job, to any) error {
	text, err := p.run(ctx, job)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(text, to); err != nil {
		return fmt.Errorf("result of the worker: %w", err)
	}
	return nil
}

func (p *Process) run(ctx context.Context, job Job) ([]byte, error) {
	in, err := json.Marshal(job)
	if err != nil {
		return nil, fmt.Errorf("worker: %w", err)
	}
	select {
	case p.turn <- struct{}{}:
		defer func() { <-p.turn }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	within, end := context.WithTimeout(ctx, mostTime)
	defer end()
	c := exec.CommandContext(within, p.command[0], p.command[1:]...)
	// One processor, and memory far below what the unit allows: the rest is the service's. A process that ends within a
	// second collects little garbage until that memory is used.
	c.Env = append(os.Environ(), "GOMAXPROCS=1", "GOMEMLIMIT=64MiB", "GOGC=400")
	c.WaitDelay = time.Second
	out, errs := &bounded{most: mostResult}, &bounded{most: 2000}
	c.Stdin, c.Stdout, c.Stderr = bytes.NewReader(in), out, errs
	c.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
	if err = c.Start(); err == nil {
		stepBack(c.Process.Pid)
		err = c.Wait()
	}
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil && c.ProcessState != nil && c.ProcessState.ExitCode() == ExitNoLot:
		return nil, fmt.Errorf("report: %w: %s", report.ErrNoLot, job.Report.Lot)
	case err != nil:
		return nil, fmt.Errorf("worker: %w: %s", err, strings.TrimSpace(errs.String()))
	case out.over:
		return nil, errors.New("worker: the result is too long")
	}
	return out.Bytes(), nil
}

// bounded keeps what is written to it up to a number of bytes.
type bounded struct {
	bytes.Buffer
	most int
	over bool // there was more
}

func (b *bounded) Write(p []byte) (int, error) {
	room := b.most - b.Len()
	if len(p) > room {
		b.over = true
		b.Buffer.Write(p[:room])
		return len(p), nil
	}
	return b.Buffer.Write(p)
}
