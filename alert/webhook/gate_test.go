package webhook

import (
	"context"
	"net/http"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// gate is another spile that speaks, or does not; asked for a message it may
// say otherwise than it said at once.
type gate struct{ speaks, may atomic.Bool }

func (g *gate) Speaks() bool             { return g.speaks.Load() }
func (g *gate) May(context.Context) bool { return g.may.Load() }

func TestBehindAClosedGateMessagesWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box, g := newMemory(), &gate{}
		s, heard := hire(t, box, func(string, int, *http.Request) (*http.Response, error) { return reply(204) })
		s.gate = g
		var turned []Standing
		s.turned = func(now Standing) { turned = append(turned, now) }
		box.put(t, "msg_cellar", "a", time.Now())
		box.put(t, "msg_own", "b", time.Now())
		box.rows[1].Own = true
		s.Start(t.Context())
		<-time.After(time.Hour) // in the test's own time
		synctest.Wait()
		assert.Equal(t, []string{"0s msg_own"}, heard.asked, "what is about this machine goes through")
		for _, now := range turned {
			assert.False(t, now.Failing, "that the other waits is nobody's failure")
		}

		g.speaks.Store(true) // as far as it knows; asked, it finds out that another does
		s.Wake()
		<-time.After(time.Minute)
		synctest.Wait()
		require.Len(t, heard.asked, 1)

		g.may.Store(true)
		s.Wake()
		<-time.After(time.Minute)
		synctest.Wait()
		require.Len(t, heard.asked, 2)
		assert.True(t, box.empty())
		require.NoError(t, s.Stop(t.Context()))
	})
}

// What failed here once, and the other spile has told or is to tell now, must not ring as a webhook that fails.
func TestWhatAnotherTellsIsNobodysFailure(t *testing.T) {
	for name, over := range map[string]func(*gate, *memory){
		"the other speaks": func(g *gate, _ *memory) { g.speaks.Store(false) },
		"the other has told it": func(_ *gate, box *memory) {
			box.mu.Lock()
			defer box.mu.Unlock()
			box.rows = nil
		},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				box, g := newMemory(), &gate{}
				g.speaks.Store(true)
				g.may.Store(true)
				s, heard := hire(t, box, func(string, int, *http.Request) (*http.Response, error) { return reply(503) })
				s.gate = g
				var turned []Standing
				s.turned = func(now Standing) { turned = append(turned, now) }
				box.put(t, "msg_a", "a", time.Now())
				s.Start(t.Context())
				<-time.After(2 * time.Minute)
				synctest.Wait()
				require.NotEmpty(t, heard.asked)
				over(g, box)
				<-time.After(3 * time.Hour)
				require.NoError(t, s.Stop(t.Context()))
				for _, now := range turned {
					assert.False(t, now.Failing)
				}
				assert.Zero(t, s.Standings()[0].Since)
			})
		})
	}
}
