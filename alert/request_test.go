package alert

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// asking is a cellar with one webhook for everything and one for what wakes.
func asking() *scene {
	return policed(Webhook{Name: "board"}, Webhook{Name: "phone", Priority: detect.High})
}

// ask logs a request.
func (s *scene) ask(clock, what string, value float64) {
	e := detect.Event{Tank: "FV3", Name: "tell", By: "Ines", Time: at(clock), Arrived: at(clock)}
	if e.Amounts = map[string]float64{what: value}; what == askDiacetyl {
		e.Amounts, e.Words = nil, map[string]string{what: "due"}
	}
	s.note(s.Log(e))
}

// gauge has a probe of FV3 measure something.
func (s *scene) gauge(clock, probe string, q detect.Quantity, value float64) {
	s.note(s.Take(detect.Reading{Tank: "FV3", Probe: probe, Quantity: q, Time: at(clock), Arrived: at(clock), Value: value}))
}

func TestGravityReached(t *testing.T) {
	s := asking()
	s.ask("01:00", askGravity, 1.016)
	for _, r := range []struct {
		clock, probe string
		value        float64
	}{
		{"01:01", "hyd-1", 1.020},
		{"01:10", "hyd-2", 1.015}, // another float reads differently
		{"01:20", "hyd-1", 1.0155},
		{"01:30", "hyd-1", 1.0165}, // it was a bubble
		{"01:40", "hyd-1", 1.0158},
		{"01:50", "hyd-1", 1.0157},
	} {
		s.note(s.Advance(at(r.clock)))
		assert.Empty(t, s.rings(), r.clock)
		s.gauge(r.clock, r.probe, detect.Gravity, r.value)
	}
	s.note(s.Advance(at("01:51")))
	notices := s.Notices()
	require.Len(t, notices, 1, "to whoever hears of low priority")
	assert.Equal(t, "board", notices[0].Webhook)
	assert.Equal(t, KindNotice, notices[0].Message.Kind)
	assert.Equal(t, detect.Low, notices[0].Message.Priority)
	assert.Equal(t, []string{
		"FV3: gravity has reached 1.0160 SG", "now 1.0157 SG",
		"If it is time to close the tank, look first what pressure its valve holds.", "Asked for by Ines 01:00.",
	}, strings.Split(Words{}.Text(notices[0].Message), "\n"))
	s.gauge("02:00", "hyd-1", detect.Gravity, 1.0150)
	s.note(s.Advance(at("03:00")))
	assert.Empty(t, s.rings(), "once")
	assert.Empty(t, s.annunciator.state.Requests)
}

func TestAFigureReachedFromBelow(t *testing.T) {
	r := request{Value: 14.4}
	for i, step := range []struct {
		value float64
		want  bool
	}{{12, false}, {14.3, false}, {14.4, false}, {14.5, true}} {
		got := r.reached(detect.Latest{Value: step.value, Time: midnight.Add(time.Duration(i) * time.Minute), Probe: "well"})
		assert.Equal(t, step.want, got, "%v", step)
	}
	assert.False(t, (&request{Value: 14.4}).reached(detect.Latest{}), "nothing is heard yet")
	same := request{Value: 14.4}
	for range 3 {
		assert.False(t, same.reached(detect.Latest{Value: 14.4, Time: midnight}), "the same reading does not confirm itself")
	}
	lost := request{Value: 14.4, Probe: "well", Seen: midnight, Side: -1, Beyond: midnight}
	assert.False(t, lost.reached(detect.Latest{Value: 15, Time: at("02:01"), Probe: "hyd"}))
	assert.True(t, lost.reached(detect.Latest{Value: 15, Time: at("02:11"), Probe: "hyd"}), "another speaks in its place, twice")
}

func TestGravityStable(t *testing.T) {
	s := asking()
	quiet := func(from, to int) {
		for m := from; m < to; m += 30 {
			s.gauge(at("00:00").Add(time.Duration(m)*time.Minute).Format("15:04"), "hyd-1", detect.Gravity, 1.012+0.0004*float64(m%60)/30)
		}
	}
	quiet(0, 60)
	s.gauge("01:00", "hyd-1", detect.Gravity, 1.019) // a lone stray
	quiet(90, 240)
	s.ask("04:00", askStable, 6)
	quiet(240, 361)
	s.note(s.Advance(at("06:01")))
	text := s.texts()
	require.Len(t, text, 1)
	assert.Equal(t, "FV3: gravity has stood still for 6 h\nat 1.0120 SG since 00:00\nCompare with the end gravity you expect.\nAsked for by Ines 04:00.", text[0])
}

// texts are the words of what was sent since it was last asked.
func (s *scene) texts() (out []string) {
	for _, n := range s.Notices() {
		out = append(out, Words{}.Text(n.Message))
	}
	return out
}

func TestStillness(t *testing.T) {
	var s stillness
	feed := func(clock, probe string, value float64) {
		s.take(detect.Reading{Probe: probe, Quantity: detect.Gravity, Time: at(clock), Value: value})
	}
	feed("00:00", "a", 1.0120)
	feed("00:10", "a", 1.0129)
	assert.Equal(t, 10*time.Minute, s.length(at("00:10")))
	feed("00:20", "b", 1.0300)
	feed("00:30", "a", 1.0131)
	assert.Equal(t, 10*time.Minute, s.length(at("00:30")), "one stray says nothing")
	feed("00:40", "a", 1.0131)
	assert.Zero(t, s.length(at("00:40")), "two begin anew")
	assert.Equal(t, at("00:40"), s.Since)
	assert.Zero(t, s.length(at("02:41")), "nobody looks any more")
	feed("02:41", "b", 1.0300)
	assert.Equal(t, "b", s.Probe)
	s.take(detect.Reading{Probe: "b", Quantity: detect.Temperature, Time: at("02:50"), Value: 14})
	s.take(detect.Reading{Probe: "b", Quantity: detect.Gravity, Time: at("02:30"), Value: 1.01, Late: true})
	assert.Equal(t, at("02:41"), s.At)
}

func TestContactTimeAndDiacetyl(t *testing.T) {
	day := 24 * time.Hour
	hop := func(s *scene) {
		s.note(s.Advance(at("01:00")))
		s.log("01:00", "FV3", "dry-hop", nil)
	}
	t.Run("contact", func(t *testing.T) {
		s := asking()
		s.ask("00:30", askContact, 48)
		s.note(s.Advance(at("00:40")))
		hop(s)
		s.note(s.Advance(at("00:59").Add(2 * day)))
		assert.Empty(t, s.rings())
		s.note(s.Advance(at("01:00").Add(2 * day)))
		text := s.texts()
		require.Len(t, text, 1)
		assert.Contains(t, text[0], "FV3: hops have been in for 48 h\nsince Mon 01:00\nTaste, and before cooling run a forced diacetyl test.")
	})
	t.Run("a test is due a day after gravity has come to rest", func(t *testing.T) {
		s := asking()
		hop(s)
		s.ask("01:00", askDiacetyl, 0)
		for h := range 49 { // creeps for a day, then rests
			when := at("01:00").Add(time.Duration(h) * time.Hour)
			s.note(s.Take(detect.Reading{Tank: "FV3", Probe: "hyd-1", Quantity: detect.Gravity, Time: when, Arrived: when,
				Value: 1.016 - 0.0006*float64(min(h, 24))}))
			if h < 46 {
				s.note(s.Advance(when.Add(time.Minute)))
				assert.Empty(t, s.rings(), "%d h", h)
			}
		}
		s.note(s.Advance(at("01:01").Add(2 * day)))
		text := s.texts()
		require.Len(t, text, 1)
		assert.Contains(t, text[0], "FV3: a forced diacetyl test is due")
	})
	t.Run("or after three days where no gravity is heard", func(t *testing.T) {
		s := asking()
		hop(s)
		s.ask("01:00", askDiacetyl, 0)
		s.note(s.Advance(at("00:59").Add(3 * day)))
		assert.Empty(t, s.rings())
		s.note(s.Advance(at("01:00").Add(3 * day)))
		assert.Len(t, s.texts(), 1)
	})
}

func TestARequestWaitsForTheHoursAndEndsWithTheBatch(t *testing.T) {
	s := policed(Webhook{Name: "board", Hours: Hours{7 * time.Hour, 18 * time.Hour}})
	s.ask("00:30", askContact, 1)
	s.ask("00:31", askGravity, 1.016)
	s.log("01:00", "FV3", "dry-hop", nil)
	s.note(s.Advance(at("06:59")))
	assert.Empty(t, s.rings())
	s.note(s.Advance(at("07:00")))
	notices := s.Notices()
	require.Len(t, notices, 1)
	assert.Equal(t, [2]time.Time{at("02:00"), at("07:00")}, [2]time.Time{notices[0].Message.Time, notices[0].Message.Told})

	s.log("08:00", "FV3", "empty", nil)
	assert.Empty(t, s.annunciator.state.Requests, "what was asked of the batch ends with it")
	s.ask("09:00", askGravity, 1.016)
	s.ask("09:01", askGravity, 1.012)
	require.Len(t, s.annunciator.state.Requests["FV3"], 1, "a new one takes the place of the last of its kind")
	s.log("10:00", "FV3", "pitch", nil)
	assert.Empty(t, s.annunciator.state.Requests)
}

func TestTheWordsOfAnAnswer(t *testing.T) {
	s := detect.Status{Tank: "FV3", HoppedSince: midnight, Last: map[detect.Quantity]detect.Latest{
		detect.Temperature: {Value: 14.5, Time: midnight},
	}}
	still := stillness{Probe: "hyd-1", Since: midnight, At: at("02:00").AddDate(0, 0, 4), Value: 1.0118}
	now := still.At
	for _, row := range []struct {
		r    request
		want string
	}{
		{request{What: askTemperature, Value: 14.4}, "FV3: beer has reached 57.9 degF\nnow 58.1 degF\nGo on with what waited for it."},
		{request{What: askStable, Value: 48}, "FV3: gravity has stood still for 4 days\nat 1.0118 SG since Mon 01:00\n" +
			"Compare with the end gravity you expect, and run a forced diacetyl test: hops make it due."},
		{request{What: askDiacetyl}, "FV3: a forced diacetyl test is due\nhops in since Mon 01:00\n" +
			"Cool only after it has passed: yeast that works on hops makes diacetyl anew."},
	} {
		assert.Equal(t, row.want, cellarWords().Text(cellarWords().answer(row.r, s, still, now)))
	}
	assert.True(t, (&request{What: askTemperature, Value: 14.4, Side: -1, Beyond: midnight.Add(-time.Hour)}).come(s, still, now))
	assert.False(t, (&request{What: "weather"}).come(s, still, now))
}
