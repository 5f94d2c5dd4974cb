package daemon

import (
	"context"
	"time"

	notify "github.com/coreos/go-systemd/v22/daemon"

	"potlifed/daemon/clock"
)

// hungAfter is how old the newest snapshot may be before the loop counts as hung. It
// makes one at least once a second.
const hungAfter = 10 * time.Second

// heartbeat tells systemd that the service is ready and then, for as long as the loop
// makes snapshots, that it lives. systemd thereby restarts a process whose loop hangs.
// A service manager that cannot be told is logged and ends nothing.
func (s *service) heartbeat(ctx context.Context) error {
	if _, err := notify.SdNotify(false, notify.SdNotifyReady); err != nil {
		s.Log.Warn("systemd cannot be told that the service is ready", "err", err)
	}
	interval, err := notify.SdWatchdogEnabled(false)
	if err != nil {
		s.Log.Warn("the watchdog's interval cannot be read; systemd is not told that the service lives", "err", err)
	}
	if err != nil || interval == 0 {
		<-ctx.Done()
		return nil
	}
	ticker := time.NewTicker(interval / 3)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			if _, err := notify.SdNotify(false, notify.SdNotifyStopping); err != nil {
				s.Log.Warn("systemd cannot be told that the service stops", "err", err)
			}
			return nil
		case <-ticker.C:
			if clock.Took(s.Clock, s.Clock.Now().Mono-s.bench.Snapshot().Mono) > hungAfter {
				s.Log.Error("the loop stands still; systemd is not told that it lives")
				continue
			}
			if _, err := notify.SdNotify(false, notify.SdNotifyWatchdog); err != nil {
				s.Log.Warn("systemd cannot be told that the service lives", "err", err)
			}
		}
	}
}
