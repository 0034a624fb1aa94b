package daemon

import (
	"context"
	"sync"
	"time"

	"spile/alert"
	"spile/alert/webhook"
)

// markRetry is the pause after a mark that the journal did not take.
const markRetry = time.Second

// standings journals when a webhook begins or ceases to fail, so that it comes
// to the judge by the same road as all else and is judged the same after a
// restart. Only what differs from what stands is journalled.
type standings struct {
	mark  func(ctx context.Context, name, detail string) error
	told  func(ctx context.Context) ([]string, error) // which fail, once all that is journalled is judged
	names map[string]bool                             // of the webhooks there are
	words alert.Words
	clock func() time.Time
	fault func(error)

	news   chan struct{}
	cancel context.CancelFunc
	ended  chan struct{}

	mu   sync.Mutex // guards what follows
	owed map[string]webhook.Standing
}

func newStandings(webhooks []webhook.Webhook) *standings {
	s := &standings{
		names: map[string]bool{}, owed: map[string]webhook.Standing{},
		news: make(chan struct{}, 1), ended: make(chan struct{}),
	}
	for _, w := range webhooks {
		s.names[w.Name] = true
	}
	return s
}

// report is called by the sender and does not block. The newest word counts.
func (s *standings) report(now webhook.Standing) {
	s.mu.Lock()
	s.owed[now.Webhook] = now
	s.mu.Unlock()
	select {
	case s.news <- struct{}{}:
	default:
	}
}

func (s *standings) start(ctx context.Context) {
	ctx, s.cancel = context.WithCancel(context.WithoutCancel(ctx))
	go func() {
		defer close(s.ended)
		s.run(ctx)
	}()
}

func (s *standings) stop(context.Context) error {
	s.cancel()
	<-s.ended
	return nil
}

// run journals the news as they come, until ctx ends.
func (s *standings) run(ctx context.Context) {
	failing := s.inherit(ctx)
	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-s.news:
			s.settle(ctx, failing)
		}
	}
}

// inherit finds which webhooks fail by what was journalled before. One that is
// no longer there fails no more.
func (s *standings) inherit(ctx context.Context) map[string]bool {
	failing := map[string]bool{}
	var told []string
	s.insist(ctx, func() (err error) {
		told, err = s.told(ctx)
		return err
	})
	for _, name := range told {
		if s.names[name] {
			failing[name] = true
			continue
		}
		s.insist(ctx, func() error { return s.mark(ctx, markWorks, name) })
	}
	return failing
}

// settle journals what is owed and is news.
func (s *standings) settle(ctx context.Context, failing map[string]bool) {
	s.mu.Lock()
	owed := s.owed
	s.owed = map[string]webhook.Standing{}
	s.mu.Unlock()
	for name, now := range owed {
		if now.Failing == failing[name] {
			continue
		}
		mark, detail := markWorks, name
		if now.Failing {
			mark, detail = markFailing, name+": "+now.Problem+", since "+s.words.When(now.Since, s.clock())
		}
		s.insist(ctx, func() error { return s.mark(ctx, mark, detail) })
		failing[name] = now.Failing
	}
}

// insist does something until it is done or ctx ends.
func (s *standings) insist(ctx context.Context, do func() error) {
	for {
		err := do()
		if err == nil || ctx.Err() != nil {
			return
		}
		s.fault(err)
		select {
		case <-time.After(markRetry):
		case <-ctx.Done():
			return
		}
	}
}
