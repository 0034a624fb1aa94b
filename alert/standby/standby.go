package standby

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/prometheus/client_golang/prometheus"
)

// The pace of the agreement.
const (
	look      = time.Second      // between looks at the clock
	beat      = 3 * time.Second  // between signs of life
	freshFor  = 2 * time.Second  // how long a lease counts as checked
	checkTime = 5 * time.Second  // for the broker to send back an echo
	doubtTime = 10 * time.Second // for a broker that was lost to come back, before a message goes without it
	frozenFor = 10 * time.Second // between two looks: this process stood still

	// After is how long the other is silent before this one speaks, where nothing
	// else is said; with the looks and the claim it stays within half a minute.
	After = 20 * time.Second
)

// Options is what a Standby is made of.
type Options struct {
	Broker   string // mqtt://host:1883 or mqtts://host:8883, the one that the probes speak to
	ClientID string // of this connection: nobody else's
	Username string
	Password string
	TLS      *tls.Config
	Site     string // both watch it
	Role     Role
	After    time.Duration // 0: After

	CaughtUp func() bool                                      // what the probes said meanwhile is judged
	Handover func(context.Context) ([]byte, error)            // JSON; what the other needs to know; must not wait for a disk
	Adopt    func(_ context.Context, body []byte, whole bool) // what the other handed over; not whole: only what it told
	Done     func(_ context.Context, body []byte)             // what a person did there
	Turned   func(_ context.Context, speaks bool)             // must be kept in this order with Adopt
	Leased   func(_ context.Context, lease uint64)            // both know this number
	Wake     func()                                           // this one may speak now
	Busy     func() bool                                      // a message is under way

	Log        *slog.Logger
	Registerer prometheus.Registerer
}

// Standby is one side of the agreement. Start it once, then Stop it once.
type Standby struct {
	options Options
	topics  topics
	log     *slog.Logger
	lease   prometheus.Gauge

	speaks atomic.Bool
	things chan func() // what the loop does next, in the order it came
	works  chan func() // what waits for a disk, in order
	cancel context.CancelFunc
	ended  sync.WaitGroup

	// Of the loop alone:
	machine  *machine
	looked   time.Time // the last look at the clock
	beaten   time.Time // the last sign of life given
	client   paho.Client
	drop     context.CancelFunc // ends the connection
	echoes   uint64             // sent
	linkEcho uint64             // the first of this connection
	checked  time.Time          // when the lease was last known to be the newest
	asking   []question
	theirs   *handed
	given    handed    // what the broker has of this one
	turned   time.Time // when this one last began or ceased to speak
	leased   uint64    // the lease that was made known
	owed     bool      // the other claims, and is to be handed over to
}

// question is a message that waits to know whether it may go.
type question struct {
	echo   uint64
	until  time.Time
	answer chan<- bool
}

// handed is a handover on its way.
type handed struct {
	Lease  uint64          `json:"lease"`
	Speaks bool            `json:"speaks"` // else it has ceased to
	Body   json.RawMessage `json:"body"`
}

// New makes one side, which is silent.
func New(o Options) (*Standby, error) {
	switch {
	case o.Role != First && o.Role != Second:
		return nil, fmt.Errorf("standby: role %q: it is first or second", o.Role)
	case o.Broker == "" || o.ClientID == "" || o.Site == "":
		return nil, errors.New("standby: needs a broker that stands apart, a client id and a site")
	}
	if o.After == 0 {
		o.After = After
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	s := &Standby{
		options: o, topics: newTopics(o.Site, o.Role), log: o.Log,
		things: make(chan func(), 256), works: make(chan func(), 256),
		lease: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "spile_standby_lease", Help: "The number of the lease under which one of two spiles speaks.",
		}),
	}
	if o.Registerer == nil {
		return s, nil
	}
	speaks := prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "spile_standby_speaks", Help: "1 while this one of two spiles tells people.",
	}, func() float64 {
		if s.speaks.Load() {
			return 1
		}
		return 0
	})
	return s, errors.Join(o.Registerer.Register(speaks), o.Registerer.Register(s.lease))
}

// Start begins to agree.
func (s *Standby) Start(ctx context.Context) {
	ctx, s.cancel = context.WithCancel(context.WithoutCancel(ctx))
	s.machine = newMachine(s.options.Role, s.options.After, time.Now())
	s.looked = time.Now()
	s.ended.Go(func() { s.loop(ctx) })
	s.ended.Go(func() { s.stayConnected(ctx) })
	s.ended.Go(func() {
		for {
			select {
			case work := <-s.works:
				work()
			case <-ctx.Done():
				return
			}
		}
	})
}

// Stop ends it. The other finds out from the broker.
func (s *Standby) Stop(context.Context) error {
	s.cancel()
	s.ended.Wait()
	return nil
}

// Speaks tells whether this one tells people, as far as it knows.
func (s *Standby) Speaks() bool { return s.speaks.Load() }

// May tells, for a message that is about to go, whether this one still speaks.
// When it says so the other knows of the message, or nobody can be asked.
func (s *Standby) May(ctx context.Context) bool {
	if !s.speaks.Load() {
		return false
	}
	answer := make(chan bool, 1)
	if !s.then(ctx, func() { s.ask(ctx, answer) }) {
		return false
	}
	select {
	case may := <-answer:
		return may
	case <-ctx.Done():
		return false
	}
}

// News says that there is something new to hand over. It does not block: where
// the loop has much to do it will look anyway.
func (s *Standby) News() {
	select {
	case s.things <- func() {}:
	default:
	}
}

// Pass lets the other know what a person did here.
func (s *Standby) Pass(ctx context.Context, body []byte) {
	s.then(ctx, func() { s.publish(s.topics.done, body, qos, false) })
}

// then queues something for the loop; false where ctx ended first.
func (s *Standby) then(ctx context.Context, do func()) bool {
	select {
	case s.things <- do:
		return true
	case <-ctx.Done():
		return false
	}
}

// loop does one thing after the other, and looks at the clock before each: so
// nothing is answered by a process that does not know yet that it stood still.
func (s *Standby) loop(ctx context.Context) {
	clock := time.NewTicker(look)
	defer clock.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case do := <-s.things:
			s.tick(ctx)
			do()
		case <-clock.C:
		}
		s.tick(ctx)
	}
}

// tick looks at the clock.
func (s *Standby) tick(ctx context.Context) {
	now := time.Now()
	if s.stoodStill(now) {
		s.log.Warn("this process stood still: before it speaks it finds out who does", "for", now.Sub(s.looked).Round(time.Second))
		s.machine.thaw(now)
		s.hangUp()
	}
	s.looked = now
	claim, speaks := s.machine.tick(now, s.options.CaughtUp())
	if claim != nil {
		s.claim(*claim)
	}
	if n := s.machine.lease.Number; n != s.leased {
		s.leased = n
		s.lease.Set(float64(n))
		s.work(ctx, func() { s.options.Leased(ctx, n) })
	}
	s.turn(ctx, speaks)
	if s.machine.linked && now.Sub(s.beaten) >= beat {
		s.show()
	}
	if s.machine.linked && (speaks || s.owed && s.quiet(now)) {
		s.give(ctx)
	}
	s.answer(now)
}

// stoodStill tells that this process, or the machine under it, was stopped for
// a while: by either of two clocks, for one stands still in a machine that
// sleeps, and the other is set by people.
func (s *Standby) stoodStill(now time.Time) bool {
	return now.Sub(s.looked) > frozenFor || now.Round(0).Sub(s.looked.Round(0)) > frozenFor
}

func (s *Standby) claim(l Lease) {
	body, err := json.Marshal(l)
	if err != nil {
		panic(err) // a number and a word
	}
	s.log.Info("this spile claims to speak", "lease", l.Number)
	s.publish(s.topics.lease, body, qos, true)
}

// quiet tells whether no message is under way any more, so that none goes out
// twice; but the other does not wait for one that hangs.
func (s *Standby) quiet(now time.Time) bool {
	return !s.options.Busy() || now.Sub(s.turned) >= yieldWithin/2
}

// turn makes known that this one begins or ceases to speak.
func (s *Standby) turn(ctx context.Context, speaks bool) {
	if s.speaks.Load() == speaks {
		return
	}
	s.speaks.Store(speaks)
	s.turned = time.Now()
	s.log.Warn("who speaks has changed", "this one speaks", speaks, "lease", s.machine.lease.Number, "broker reached", s.machine.linked)
	s.owed = s.owed || !speaks
	s.work(ctx, func() {
		s.options.Turned(ctx, speaks)
		if speaks {
			s.options.Wake()
		}
	})
}

// work queues what waits for a disk. Where the disk takes nothing for long, who
// speaks is agreed all the same.
func (s *Standby) work(ctx context.Context, do func()) {
	select {
	case s.works <- do:
	default:
		if ctx.Err() == nil {
			s.log.Error("the journal takes nothing: what two spiles agree on is not kept")
		}
	}
}

// ask answers whether a message may go: at once where that is known, else when
// the broker has sent back an echo.
func (s *Standby) ask(ctx context.Context, answer chan<- bool) {
	switch now := time.Now(); {
	case !s.machine.speaking:
		answer <- false
	case !s.machine.linked: // perhaps in a moment
		s.asking = append(s.asking, question{echo: ^uint64(0), until: s.machine.turned.Add(doubtTime), answer: answer})
	case !s.give(ctx) && now.Sub(s.checked) < freshFor:
		answer <- true
	default:
		s.asking = append(s.asking, question{echo: s.echo(), until: now.Add(checkTime), answer: answer})
	}
}

// answer gives up on a broker that sends no echo: it is out of reach, whatever
// the connection looks like. Then nobody can be asked who speaks, and a call
// twice is better than none.
func (s *Standby) answer(now time.Time) {
	late := slices.ContainsFunc(s.asking, func(q question) bool { return now.After(q.until) })
	if late && s.machine.linked {
		s.log.Warn("the broker sends nothing back")
		s.hangUp()
		s.machine.link(false, now)
	}
	switch {
	case !s.machine.speaking:
		s.settle(func(question) bool { return true })
	case !s.machine.linked:
		s.settle(func(q question) bool { return now.After(q.until) })
	}
}

// settle answers questions.
func (s *Standby) settle(which func(question) bool) {
	s.asking = slices.DeleteFunc(s.asking, func(q question) bool {
		if !which(q) {
			return false
		}
		q.answer <- s.machine.speaking
		return true
	})
}

// again asks anew what waited for a connection, on one that stands.
func (s *Standby) again(ctx context.Context) {
	open := s.asking
	s.asking = nil
	for _, q := range open {
		s.ask(ctx, q.answer)
	}
}
