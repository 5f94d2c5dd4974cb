package main

import (
	"context"
	"fmt"
	"time"

	"potlifed/daemon"
	"potlifed/daemon/config"
	"potlifed/daemon/journal"
	"potlifed/daemon/record"
	"potlifed/model/alarm"
)

// checksDue prints which sensors and scales are to be checked, by the configuration and the records of the
// service. It is no fault: they work.
func (l *checklist) checksDue(ctx context.Context, shop config.Shop) {
	known := recorded(ctx, shop.DataDir)
	tell := func(what, with string, last time.Time, every time.Duration) {
		if due := last.Add(every); every > 0 && !last.IsZero() && time.Now().After(due) {
			fmt.Fprintf(l.out, "advice %-24s its check is overdue since %s: check it %s, and record the check on /devices\n",
				what, due.Format(time.DateOnly), with)
		}
	}
	failed := func(what string, at time.Time) {
		fmt.Fprintf(l.out, "advice %-24s its check on %s failed: do not rely on it; /devices says by how much it is off\n", what, at.Local().Format(time.DateOnly))
	}
	for _, s := range shop.Sensors {
		what := "sensor " + s.ID
		if f, is := known.FailedChecks[s.ID]; is && !s.Checked.After(f.At) {
			failed(what, f.At)
			continue
		}
		tell(what, "over salts or against a reference meter", latest(s.Checked, known.Verified[s.ID], known.Replaced[s.ID]), s.CheckEvery)
	}
	for _, s := range shop.Scales {
		what := "scale " + s.ID
		c, is := known.ScaleChecks[s.ID]
		if is && c.Failed() && !s.Checked.After(c.At) {
			failed(what, c.At)
			continue
		}
		tell(what, "with weights", latest(s.Checked, c.Passed, known.Replaced[s.ID]), s.CheckEvery)
	}
}

// certificates prints which certificates have ended, which is a fault, or end so soon that the service raises its alarm.
func (l *checklist) certificates(shop config.Shop, now time.Time) {
	for _, c := range daemon.CertificateEnds(shop) {
		day := c.At.Local().Format(time.DateOnly)
		switch {
		case !now.Before(c.At):
			l.fault(c.Key, "the certificate in %s ended on %s: renew the file", c.File, day)
		case !now.Add(alarm.CertificateNotice).Before(c.At):
			fmt.Fprintf(l.out, "advice %-24s the certificate in %s ends on %s: renew the file; it is read for each connection\n", c.Key, c.File, day)
		}
	}
}

// recorded returns what the service has recorded; nothing of a bench that has not run yet, or whose records
// cannot be read, which dataDir says.
func recorded(ctx context.Context, dir string) record.State {
	j, err := journal.OpenToRead(ctx, dir)
	if err != nil {
		return record.State{}
	}
	defer j.Close()
	state, err := j.Load(ctx)
	if err != nil {
		return record.State{}
	}
	return state
}

func latest(times ...time.Time) (last time.Time) {
	for _, t := range times {
		if t.After(last) {
			last = t
		}
	}
	return last
}
