package detect

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// oddCellar is a tank that hears whatever may come, sense or none, and its twin, which is restarted now and then.
type oddCellar struct {
	t          *testing.T
	rng        *rand.Rand
	settings   Settings
	tank, twin *Tank
	now        time.Time
	beer       map[Quantity]float64
	newest     map[string]time.Time // of each series
	lines      []Event
}

// after is a moment so long after another as such things mostly are, in whole milliseconds.
func (c *oddCellar) after(at time.Time, mostly time.Duration) time.Time {
	return at.Add(time.Duration(c.rng.ExpFloat64() * float64(mostly))).Truncate(time.Millisecond)
}

// reading is one of four probes that measure everything, wild or late now and then.
func (c *oddCellar) reading() (Reading, bool) {
	q := Quantities()[c.rng.IntN(3)]
	c.beer[q] += map[Quantity]float64{Gravity: 0.00002, Temperature: 0.05, Pressure: 0.3}[q] * c.rng.NormFloat64()
	r := Reading{Tank: "FV3", Probe: fmt.Sprint("p", c.rng.IntN(4)), Quantity: q, Time: c.now, Arrived: c.now, Value: c.beer[q]}
	switch c.rng.IntN(60) {
	case 0:
		r.Value *= 1 + 0.5*c.rng.NormFloat64()
	case 1:
		r.Value = []float64{0, -r.Value, 1e6, -1e6, 1e300}[c.rng.IntN(5)]
	case 2, 3, 4:
		r.Time = c.now.Add(c.now.Sub(c.after(c.now, time.Hour)))
	case 5:
		r.Time = c.now.Add(MaxAhead)
	}
	r.Raw = r.Value
	series := r.Probe + string(q)
	if r.Time.Equal(c.newest[series]) {
		return r, false // a repeat or a conflict: neither is told to a tank
	}
	if r.Late = r.Time.Before(c.newest[series]); !r.Late {
		c.newest[series] = r.Time
	}
	return r, true
}

// line is one of the log, whatever it may say, that may come late and may correct another.
func (c *oddCellar) line() (Event, bool) {
	kind := logbook[c.rng.IntN(len(logbook))]
	e := Event{Tank: "FV3", Name: kind.Name, Time: c.now, Arrived: c.now, Amounts: map[string]float64{}, Words: map[string]string{}}
	if c.rng.IntN(3) == 0 {
		e.Time = c.now.Add(c.now.Sub(c.after(c.now, 10*time.Hour)))
	}
	for _, f := range kind.Fields {
		switch {
		case !f.Required && c.rng.IntN(2) == 0:
		case f.Kind != "":
			e.Amounts[f.Name] = f.Low + c.rng.Float64()*(f.High-f.Low)
		case len(f.Choices) > 0:
			e.Words[f.Name] = f.Choices[c.rng.IntN(len(f.Choices))]
		default:
			e.Words[f.Name] = fmt.Sprint("p", c.rng.IntN(4))
		}
	}
	if n := len(c.lines); n > 0 && (kind.Name == "strike" || c.rng.IntN(4) == 0) {
		e.Words[map[bool]string{true: "line", false: "corrects"}[kind.Name == "strike"]] = c.lines[c.rng.IntN(n)].Line()
	}
	body, err := json.Marshal(e)
	if err != nil || json.Unmarshal(body, &e) != nil {
		return e, false // the logbook takes no such line
	}
	c.lines = append(c.lines, e)
	return e, true
}

// step lets both hear one thing.
func (c *oddCellar) step() (one, other []Finding) {
	switch c.rng.IntN(12) {
	case 0:
		c.now = c.after(c.now, 3*time.Hour)
	case 1, 2, 3:
		c.now = c.after(c.now, 20*time.Minute)
	}
	switch c.rng.IntN(300) {
	case 0:
		if e, ok := c.line(); ok {
			return c.tank.Log(e), c.twin.Log(e)
		}
	case 1, 2, 3, 4:
		return c.tank.Tick(c.now), c.twin.Tick(c.now)
	default:
		if r, ok := c.reading(); ok {
			return c.tank.Take(r), c.twin.Take(r)
		}
	}
	return nil, nil
}

// restart gives the twin nothing but its snapshot.
func (c *oddCellar) restart() {
	body, err := json.Marshal(c.twin)
	require.NoError(c.t, err)
	own, err := json.Marshal(c.tank)
	require.NoError(c.t, err)
	require.Equal(c.t, string(own), string(body), "since the last restart")
	c.twin = NewTank("FV3", c.settings)
	require.NoError(c.t, json.Unmarshal(body, c.twin))
}

// Whatever a tank hears it outlives, tells in figures that JSON can hold, and would know after a restart.
func TestWhateverATankHearsItOutlives(t *testing.T) {
	t.Parallel()
	for i, year := range []int{2026, 1970, 2039, 2026, 2026, 2026} { // a clock that was never set, and one past 32 bits of seconds
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			t.Parallel()
			s := Settings{Sealed: i%2 == 0, ReliefKPa: float64(i % 3 * 50), BeerLiters: float64(i % 2 * 2000), HeadspaceLiters: []float64{1, 200, 5000}[i%3]}
			c := &oddCellar{
				t: t, rng: rand.New(rand.NewPCG(uint64(i), 1)), settings: s, tank: NewTank("FV3", s), twin: NewTank("FV3", s),
				now:    time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC),
				beer:   map[Quantity]float64{Gravity: 1.012, Temperature: 14, Pressure: 80},
				newest: map[string]time.Time{},
			}
			for step := range 4000 {
				one, other := c.step()
				told, err := json.Marshal(one)
				require.NoError(t, err, step)
				again, err := json.Marshal(other)
				require.NoError(t, err, step)
				require.Equal(t, string(told), string(again), step)
				if step%500 == 499 {
					c.now = c.now.Add(time.Minute) // what was known before a moment is in no snapshot
					c.restart()
					_, err = json.Marshal(c.tank.Status())
					require.NoError(t, err, step)
				}
			}
		})
	}
}
