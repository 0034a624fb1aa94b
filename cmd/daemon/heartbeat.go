package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"spile/alert"
	"spile/alert/webhook"
)

// The pace of the heartbeat beside its own period, and what counts as well. Our
// choice: probes may speak once an hour, and the judge looks at the clock four
// times a second.
const (
	beatAgain   = 30 * time.Second // after a call that failed
	beatLook    = 5 * time.Second  // between looks while not all is well
	flowsWithin = 2 * time.Hour    // the newest reading
	judgeLag    = 2 * time.Minute  // of the judge behind the clock
)

// Heartbeat is a watchdog outside that is called while all is well, so that
// its silence tells where nothing else can that this machine is dead.
type Heartbeat struct {
	webhook.Webhook // its address and the road to it
	Every           time.Duration
}

// heart calls the watchdog.
type heart struct {
	every time.Duration
	ill   func() string // why not all is well; empty: it is
	call  func(context.Context) error
	log   *slog.Logger
	calls *prometheus.CounterVec
	well  prometheus.Gauge

	word   string // what was logged last
	cancel context.CancelFunc
	ended  chan struct{}
}

// newHeart makes a heart that does not beat yet.
func newHeart(b Heartbeat, ill func() string, log *slog.Logger, r prometheus.Registerer) *heart {
	h := &heart{
		every: b.Every, ill: ill, log: log, ended: make(chan struct{}),
		call: func(ctx context.Context) error { return webhook.Ping(ctx, b.Webhook) },
		calls: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "spile_heartbeat_calls_total", Help: "Calls of the watchdog outside, by outcome: answered, failed.",
		}, []string{"outcome"}),
		well: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "spile_heartbeat_well", Help: "1 while all is well and the watchdog outside is called.",
		}),
	}
	for _, outcome := range []string{"answered", "failed"} {
		h.calls.WithLabelValues(outcome)
	}
	r.MustRegister(h.calls, h.well)
	return h
}

func (h *heart) start(ctx context.Context) {
	ctx, h.cancel = context.WithCancel(context.WithoutCancel(ctx))
	go func() {
		defer close(h.ended)
		for ctx.Err() == nil {
			timer := time.NewTimer(h.beat(ctx))
			select {
			case <-timer.C:
			case <-ctx.Done():
			}
			timer.Stop()
		}
	}()
}

func (h *heart) stop(context.Context) error {
	h.cancel()
	<-h.ended
	return nil
}

// beat calls the watchdog if all is well, and tells when to look again.
func (h *heart) beat(ctx context.Context) time.Duration {
	if why := h.ill(); why != "" {
		h.well.Set(0)
		h.say("heartbeat withheld", why)
		return min(h.every, beatLook)
	}
	h.well.Set(1)
	if err := h.call(ctx); err != nil {
		if ctx.Err() == nil {
			h.calls.WithLabelValues("failed").Inc()
			h.say("heartbeat not taken", err.Error())
		}
		return min(h.every, beatAgain)
	}
	h.calls.WithLabelValues("answered").Inc()
	h.say("", "")
	return h.every
}

// say logs what is news.
func (h *heart) say(what, why string) {
	if what == h.word {
		return
	}
	h.word = what
	if what == "" {
		h.log.Info("heartbeat goes out")
		return
	}
	h.log.Warn(what, "problem", why)
}

// ill says why not all is well: readings flow, the journal is written, the
// judge keeps up and the outbox moves, or else the watchdog is to bark.
func (d *Daemon) ill() string {
	if reasons := d.notReady(); len(reasons) > 0 {
		return reasons[0]
	}
	now := d.options.Clock()
	view := d.judge.view()
	if lag := now.Sub(view.At); lag > judgeLag {
		return fmt.Sprintf("the judge is %s behind the clock", lag.Round(time.Second))
	}
	for _, s := range d.sender.Standings() {
		if s.Failing {
			return "webhook " + s.Webhook + " takes no messages: " + s.Problem
		}
	}
	return silence(view, now)
}

// silence says that no readings flow; empty where they do, or where every
// probe was taken out of its tank.
func silence(view alert.View, now time.Time) string {
	var newest time.Time
	known, in := 0, 0
	for _, t := range view.Tanks {
		for _, p := range t.Probes {
			if p.Outside { // it tells nothing of a tank
				continue
			}
			known++
			if p.Out {
				continue
			}
			in++
			if p.LastHeard.After(newest) {
				newest = p.LastHeard
			}
		}
	}
	switch {
	case known == 0:
		return "no probe was heard yet"
	case in > 0 && now.Sub(newest) > flowsWithin:
		return fmt.Sprintf("no probe was heard for %s", now.Sub(newest).Round(time.Minute))
	}
	return ""
}
