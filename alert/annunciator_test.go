package alert

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// policed is a scene under a policy whose messages carry a link.
func policed(hooks ...Webhook) *scene {
	return newScene(Options{Site: "test", Policy: Policy{Webhooks: hooks, Public: true}})
}

const quarter = 15 * time.Minute

func TestACallIsRepeatedUntilSomebodyAnswers(t *testing.T) {
	for _, row := range []struct {
		name string
		end  func(s *scene)
		want []string
	}{
		{"acknowledged", func(s *scene) { s.answered("01:40") }, []string{"01:40 phone acknowledged"}},
		{"over", func(s *scene) {
			s.find("01:40", "FV3", detect.Refermentation, over)
		}, []string{"01:40 phone returned"}},
		{"shelved", func(s *scene) {
			ts, err := s.Shelve(s.told[0].ID, "Ines", "sampling", at("03:00"), at("01:40"))
			assert.NoError(t, err)
			s.note(ts)
		}, []string{"01:40 phone shelved"}},
		{"hands on the tank", func(s *scene) {
			s.log("01:40", "FV3", "work", map[string]float64{"for": 1})
		}, []string{}},
		{"the batch has left", func(s *scene) { s.log("01:40", "FV3", "empty", nil) }, []string{"01:40 phone normal"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			none := time.Duration(0)
			s := newScene(Options{
				Policy: Policy{Webhooks: []Webhook{{Name: "phone", Priority: detect.High, Repeat: quarter}}, Public: true},
				Tuning: map[detect.Alarm]Tuning{detect.Refermentation: {OffDelay: &none}},
			})
			s.find("01:00", "FV3", detect.Refermentation, detect.High)
			s.note(s.Advance(at("01:39")))
			assert.Equal(t, []string{"01:00 phone", "01:15 phone again 1", "01:30 phone again 2"}, s.rings())
			row.end(s)
			assert.Equal(t, row.want, s.rings())
			s.note(s.Advance(at("02:35")))
			assert.Empty(t, s.rings())
		})
	}
}

// answered acknowledges the first incident.
func (s *scene) answered(clock string) {
	ts, err := s.Acknowledge(s.told[0].ID, "Ines", "", at(clock))
	if err != nil {
		panic(err)
	}
	s.note(ts)
}

func TestWithoutAPublicAddressACallStopsAfterFourRepeats(t *testing.T) {
	s := newScene(Options{Policy: Policy{Webhooks: []Webhook{{Name: "phone", Repeat: quarter}}}})
	s.find("01:00", "FV3", detect.Refermentation, detect.Medium)
	s.note(s.Advance(at("05:00")))
	assert.Equal(t, []string{
		"01:00 phone", "01:15 phone again 1", "01:30 phone again 2", "01:45 phone again 3", "02:00 phone again 4",
	}, s.rings())
	s.find("05:00", "FV3", detect.Refermentation, detect.High)
	s.note(s.Advance(at("05:15")))
	assert.Equal(t, []string{"05:00 phone from unacknowledged", "05:15 phone again 1"}, s.rings(), "grown worse it begins anew")
}

func TestARepeatBringsTheFiguresOfNow(t *testing.T) {
	s := policed(Webhook{Name: "phone", Repeat: quarter})
	s.find("01:00", "FV3", detect.Refermentation, detect.High)
	_, c, err := s.open(s.told[0].ID)
	require.NoError(t, err)
	c.Finding.Summary = "FV3: faster now"
	s.note(s.Advance(at("01:15")))
	notices := s.Notices()
	require.Len(t, notices, 2)
	first, again := notices[0], notices[1]
	assert.Equal(t, "FV3: faster now", again.Message.Summary)
	assert.Equal(t, first.Message.ID, again.Message.ID, "one incident")
	assert.Equal(t, first.Thread, again.Thread, "one thread")
	assert.NotEqual(t, first.ID, again.ID, "two messages")
	assert.Equal(t, [2]time.Time{at("01:00"), at("01:15")}, [2]time.Time{again.Message.Time, again.Message.Told})
	assert.Zero(t, first.Message.Told)
}

func TestASecondIsCalledWhereNobodyAnswers(t *testing.T) {
	phone := Webhook{Name: "phone", Priority: detect.High, Then: "owner", After: 30 * time.Minute}
	owner := Webhook{Name: "owner", Priority: detect.Critical}
	t.Run("once, and then hears what becomes of it", func(t *testing.T) {
		s := policed(phone, owner)
		s.find("01:00", "FV3", detect.Refermentation, detect.High)
		s.note(s.Advance(at("03:00")))
		assert.Equal(t, []string{"01:00 phone", "01:30 owner for phone"}, s.rings())
		s.answered("03:00")
		assert.Equal(t, []string{"03:00 phone acknowledged", "03:00 owner acknowledged"}, s.rings())
		s.note(s.Advance(at("04:00")))
		s.find("04:00", "FV3", detect.Refermentation, detect.Critical)
		assert.Equal(t, []string{"04:00 phone from acknowledged", "04:00 owner from acknowledged"}, s.rings())
	})
	t.Run("not where somebody answered", func(t *testing.T) {
		s := policed(phone, owner)
		s.find("01:00", "FV3", detect.Refermentation, detect.High)
		s.note(s.Advance(at("01:29")))
		s.answered("01:29:59")
		s.note(s.Advance(at("03:00")))
		assert.Equal(t, []string{"01:00 phone", "01:29:59 phone acknowledged"}, s.rings())
	})
	t.Run("not where it is called already", func(t *testing.T) {
		s := policed(phone, owner)
		s.find("01:00", "FV3", detect.Vacuum, detect.Critical)
		s.note(s.Advance(at("03:00")))
		assert.Equal(t, []string{"01:01 phone", "01:01 owner"}, s.rings())
	})
	t.Run("around a circle each once", func(t *testing.T) {
		back := owner
		back.Then, back.After = "phone", 10*time.Minute
		s := policed(phone, back)
		s.find("01:00", "FV3", detect.Refermentation, detect.High)
		s.note(s.Advance(at("05:00")))
		assert.Equal(t, []string{"01:00 phone", "01:30 owner for phone"}, s.rings())
	})
	t.Run("though spile was away meanwhile", func(t *testing.T) {
		s := policed(phone, owner)
		s.find("01:00", "FV3", detect.Refermentation, detect.High)
		s.note(s.Started(at("02:00")))
		s.note(s.Advance(at("02:01")))
		assert.Equal(t, []string{"01:00 phone", "02:01 owner for phone"}, s.rings())
	})
}

func TestWhatComesOutsideTheHoursWaitsForThem(t *testing.T) {
	day := Webhook{Name: "board", Hours: Hours{7 * time.Hour, 18 * time.Hour}, Repeat: time.Hour}
	t.Run("and is told when they begin, as it stands then", func(t *testing.T) {
		s := policed(day)
		s.find("03:00", "FV3", detect.Refermentation, detect.Medium)
		s.find("04:00", "FV3", detect.Refermentation, detect.High)
		s.note(s.Advance(at("08:00")))
		assert.Equal(t, []string{"07:00 board from unacknowledged", "08:00 board again 1"}, s.rings())
	})
	t.Run("over before, it is not told", func(t *testing.T) {
		s := policed(day)
		s.find("03:00", "FV3", detect.Refermentation, detect.High)
		s.find("04:00", "FV3", detect.Refermentation, over)
		s.note(s.Advance(at("12:00")))
		assert.Empty(t, s.rings())
	})
	t.Run("answered before, it is not told", func(t *testing.T) {
		s := policed(day)
		s.find("03:00", "FV3", detect.Refermentation, detect.High)
		s.answered("04:00")
		s.note(s.Advance(at("12:00")))
		assert.Empty(t, s.rings())
	})
	t.Run("explained before, it is not told until it is not", func(t *testing.T) {
		s := policed(Webhook{Name: "night", Priority: detect.High, Hours: Hours{18 * time.Hour, 7 * time.Hour}})
		s.find("06:30", "FV3", detect.Refermentation, detect.High)
		s.answered("06:40")
		s.rings()
		s.find("17:00", "FV3", detect.Refermentation, detect.Critical)
		s.log("17:30", "FV3", "work", map[string]float64{"for": 1})
		s.note(s.Advance(at("18:29")))
		assert.Empty(t, s.rings())
		s.note(s.Advance(at("18:30")))
		assert.Equal(t, []string{"18:30 night from suppressed"}, s.rings())
	})
	t.Run("the end of what was told waits too", func(t *testing.T) {
		s := policed(Webhook{Name: "night", Hours: Hours{18 * time.Hour, 7 * time.Hour}, Repeat: time.Hour})
		s.find("06:30", "FV3", detect.Refermentation, detect.High)
		s.note(s.Advance(at("08:00")))
		assert.Equal(t, []string{"06:30 night"}, s.rings(), "no repeat outside the hours")
		s.find("08:00", "FV3", detect.Refermentation, over)
		s.note(s.Advance(at("17:59")))
		s.answered("17:59:30")
		assert.Empty(t, s.rings())
		s.note(s.Advance(at("18:00")))
		assert.Equal(t, []string{"18:00 night returned"}, s.rings())
		assert.Empty(t, s.annunciator.state.Threads, "nothing is left to tell")
	})
}

func TestAShelvingsEndCallsAgain(t *testing.T) {
	s := policed(Webhook{Name: "phone", Repeat: quarter})
	s.find("01:00", "FV3", detect.Vacuum, detect.Critical)
	s.note(s.Advance(at("01:01")))
	ts, err := s.Shelve(s.told[0].ID, "Ines", "rinsing", at("02:00"), at("01:05"))
	require.NoError(t, err)
	s.note(ts)
	s.note(s.Advance(at("02:15")))
	assert.Equal(t, []string{"01:01 phone", "01:05 phone shelved", "02:00 phone from shelved", "02:15 phone again 1"}, s.rings())
}

func TestRefermentationMayWaitForTheDay(t *testing.T) {
	hooks := []Webhook{{Name: "phone", Priority: detect.High}, {Name: "log"}}
	near := func() *scene {
		s := newScene(Options{Policy: Policy{Webhooks: hooks, Wake: WakeNear}, Default: detect.Settings{ReliefKPa: 100}})
		s.note(s.Take(detect.Reading{Tank: "FV3", Quantity: detect.Pressure, Time: midnight, Arrived: midnight, Value: 40}))
		return s
	}
	t.Run("nothing is near", func(t *testing.T) {
		s := near()
		s.find("01:00", "FV3", detect.Refermentation, detect.High)
		s.note(s.Advance(at("07:00")))
		assert.Equal(t, []string{"01:00 FV3 refermentation medium normal>unacknowledged"}, s.lines())
		assert.Equal(t, []string{"01:00 log", "07:00 phone"}, s.rings())
	})
	t.Run("by day at once", func(t *testing.T) {
		s := near()
		s.find("10:00", "FV3", detect.Refermentation, detect.High)
		assert.Equal(t, []string{"10:00 phone", "10:00 log"}, s.rings())
	})
	t.Run("a packaging run is near", func(t *testing.T) {
		s := near()
		s.log("00:30", "FV3", "transfer", map[string]float64{"volume": 5})
		s.vessel("FV3").packaged = at("00:30")
		s.find("01:00", "FV3", detect.Refermentation, detect.High)
		assert.Equal(t, []string{"01:00 phone", "01:00 log"}, s.rings())
	})
	t.Run("the relief setting comes near", func(t *testing.T) {
		s := near()
		s.find("01:00", "FV3", detect.Refermentation, detect.High)
		c := s.vessel("FV3").find(detect.Refermentation, "")
		c.Finding.Evidence.Forecast = &detect.Forecast{LimitReached: &detect.Span{Low: at("15:00"), High: at("20:00")}}
		s.note(s.Advance(at("03:00")))
		assert.Equal(t, []string{
			"01:00 FV3 refermentation medium normal>unacknowledged", "03:00 FV3 refermentation high unacknowledged>unacknowledged",
		}, s.lines(), "twelve hours before")
		assert.Equal(t, []string{"01:00 log", "03:00 phone from unacknowledged", "03:00 log from unacknowledged"}, s.rings())
	})
	t.Run("a closed tank without a gauge is taken for near", func(t *testing.T) {
		s := near()
		s.find("01:00", "FV4", detect.Refermentation, detect.High)
		assert.Equal(t, []string{"01:00 phone", "01:00 log"}, s.rings())
	})
	t.Run("other alarms wake", func(t *testing.T) {
		s := near()
		s.find("01:00", "FV3", detect.FreezeRisk, detect.High)
		s.note(s.Advance(at("01:30")))
		assert.Equal(t, []string{"01:30 phone", "01:30 log"}, s.rings())
	})
}

func TestRestoreForgetsWebhooksThatAreGone(t *testing.T) {
	s := policed(Webhook{Name: "phone"}, Webhook{Name: "board", Hours: Hours{8 * time.Hour, 9 * time.Hour}})
	s.find("01:00", "FV3", detect.Refermentation, detect.High)
	body, err := s.Snapshot()
	require.NoError(t, err)
	w := newWatch(Options{Site: "test", Policy: Policy{Webhooks: []Webhook{{Name: "phone"}}}}, newScripted)
	require.NoError(t, w.Restore(body))
	_, known := w.annunciator.state.Threads[0].Parties["board"]
	assert.False(t, known)
	w.Advance(at("02:00"))
	_, err = w.Acknowledge(s.told[0].ID, "Ines", "", at("02:00"))
	require.NoError(t, err)
	notices := w.Notices()
	require.Len(t, notices, 1)
	assert.Equal(t, "phone", notices[0].Webhook)

	w = newWatch(Options{Site: "test"}, newScripted)
	require.NoError(t, w.Restore(body))
	assert.Empty(t, w.annunciator.state.Threads, "nobody is told")
}

func TestNoticeIDs(t *testing.T) {
	play := func() []Notice {
		s := policed(Webhook{Name: "a", Repeat: quarter, Then: "b", After: 20 * time.Minute}, Webhook{Name: "b"})
		s.find("01:00", "FV3", detect.Refermentation, detect.Medium)
		s.find("01:00", "FV3", detect.Refermentation, detect.High)
		s.note(s.Advance(at("02:00")))
		return s.Notices()
	}
	notices := play()
	require.Greater(t, len(notices), 6)
	var ids []string
	for _, n := range notices {
		assert.Regexp(t, `^msg_[a-z2-7]{16}$`, n.ID)
		ids = append(ids, n.ID)
	}
	slices.Sort(ids)
	assert.Len(t, slices.Compact(ids), len(notices), "one id for each message")
	assert.Equal(t, notices, play(), "judged again they are the same messages")
}
