package main

import (
	"context"
	"log/slog"
	"time"

	systemd "github.com/coreos/go-systemd/v22/daemon"
)

// looksPerWatchdog is how often the judge is looked at within the time after
// which the service manager would end a service that says nothing.
const looksPerWatchdog = 3

// serviceManager is told how the daemon does, by sd_notify(3). Where nothing
// started spile that wants to know, telling it does nothing.
type serviceManager struct{ log *slog.Logger }

// tell passes on a state such as READY=1.
func (m serviceManager) tell(state string) {
	if _, err := systemd.SdNotify(false, state); err != nil {
		m.log.Warn("the service manager was not told", "state", state, "problem", err)
	}
}

// watch lets the service manager know that the daemon lives, as long as ctx
// lasts and turns shows that its judge goes round. A judge that waits for a
// full disk still turns: a restart would not help it.
func (m serviceManager) watch(ctx context.Context, turns func() uint64) {
	within, err := systemd.SdWatchdogEnabled(false)
	if err != nil {
		m.log.Warn("the watchdog's time cannot be read", "problem", err)
	}
	if within <= 0 {
		return
	}
	look := time.NewTicker(within / looksPerWatchdog)
	defer look.Stop()
	for last := uint64(0); ; {
		select {
		case <-ctx.Done():
			return
		case <-look.C:
		}
		if now := turns(); now != last {
			last = now
			m.tell(systemd.SdNotifyWatchdog)
		}
	}
}
