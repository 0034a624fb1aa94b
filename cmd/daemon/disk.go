package daemon

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"spile/alert"
	"spile/ingest/journal"
)

// The journal's disk. A hundred tanks that speak each minute write about a
// megabyte an hour, so the ballast buys a day, and the room below which it is
// dropped two more.
const (
	ballastSize = 32 << 20
	lowRoom     = 64 << 20
	roomAgain   = lowRoom + 2*ballastSize // it does not flutter: there must be room for the ballast and as much again
	diskPace    = 5 * time.Second         // between looks
	stuckAfter  = 10 * time.Second        // that a commit fails, until it is told from memory
)

// disk looks after the room that the journal has, and tells when it has none.
type disk struct {
	journal   *journal.Journal
	trouble   func() error // why the journal takes nothing
	judge     *judge
	emergency *emergency
	mark      func(ctx context.Context, name, detail string) error
	damaged   func(why string)
	clock     func() time.Time
	fault     func(what string, err error)

	cancel context.CancelFunc
	ended  chan struct{}
}

func (d *disk) start(ctx context.Context) {
	ctx, d.cancel = context.WithCancel(context.WithoutCancel(ctx))
	d.ended = make(chan struct{})
	go func() {
		defer close(d.ended)
		pace := time.NewTicker(diskPace)
		defer pace.Stop()
		for {
			d.look(ctx)
			select {
			case <-pace.C:
			case <-ctx.Done():
				return
			}
		}
	}()
}

func (d *disk) stop(context.Context) error {
	d.cancel()
	<-d.ended
	return nil
}

// look tells what has changed, through the journal where it takes entries and
// from memory where it does not.
func (d *disk) look(ctx context.Context) {
	if d.trouble() != nil {
		d.emergency.tick(d.clock())
		return
	}
	if d.judge.failing(alert.JournalStopped) {
		d.say(ctx, markGoes, "")
	}
	d.emergency.end()
	room, err := d.journal.Room()
	if err != nil {
		return // a journal in memory has no disk
	}
	switch low := d.judge.failing(alert.JournalDisk); {
	case room < lowRoom:
		d.drop()
		if !low {
			d.say(ctx, markDiskLow, fmt.Sprintf("%d MB left for the journal", room>>20))
		}
	case room >= roomAgain:
		if err := d.journal.LayBallast(ctx, ballastSize); err != nil && ctx.Err() == nil {
			d.fault("the reserve could not be laid", err)
		}
		if low {
			d.say(ctx, markDiskRoomy, "")
		}
	}
}

func (d *disk) say(ctx context.Context, mark, detail string) {
	if err := d.mark(ctx, mark, detail); err != nil && ctx.Err() == nil {
		d.fault("the state of the disk was not kept", err)
	}
}

func (d *disk) drop() {
	if err := d.journal.DropBallast(); err != nil {
		d.fault("the reserve could not be dropped", err)
	}
}

// relieve does what can be done at once about a failure of the journal.
func (d *disk) relieve(err error) {
	switch {
	case errors.Is(err, journal.ErrFull):
		d.drop()
	case errors.Is(err, journal.ErrDamaged):
		d.damaged(err.Error())
	}
}

// failing is an ingest.Failing: it makes room and, where that does not help,
// raises the alarm from memory.
func (d *disk) failing(since, at time.Time, err error) *journal.Mark {
	d.relieve(err)
	if d.clock().Sub(since) < stuckAfter {
		return nil
	}
	problem := err.Error()
	if errors.Is(err, journal.ErrFull) {
		problem = "the disk is full"
	}
	d.emergency.begin(at, problem)
	return &journal.Mark{Name: markStopped, Detail: problem}
}

// register shows the room and the journal's size to Prometheus.
func (d *disk) register(r prometheus.Registerer) {
	r.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "spile_journal_disk_free_bytes", Help: "Room left on the journal's disk; 0 for a journal in memory.",
	}, func() float64 {
		room, _ := d.journal.Room() // no room is what an error means here
		return float64(room)
	}), prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "spile_journal_size_bytes", Help: "Room that the journal's rows take.",
	}, func() float64 {
		size, _ := d.journal.Size(context.Background()) // 0 while it cannot be read
		return float64(size)
	}))
}
