package alert

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestDelays(t *testing.T) {
	for _, row := range []struct {
		name string
		play func(s *scene)
		want []string
	}{
		{"refermentation is told at once", func(s *scene) {
			s.find("01:15:30", "FV3", detect.Refermentation, detect.High)
		}, []string{"01:15:30 FV3 refermentation high normal>unacknowledged"}},
		{"drift waits twenty minutes, on a whole minute", func(s *scene) {
			s.find("01:00:10", "FV3", detect.CrashDrift, detect.High)
			s.note(s.Advance(at("01:20")))
			assert.Empty(t, s.told)
			s.note(s.Advance(at("01:21")))
		}, []string{"01:21 FV3 crash-drift high normal>unacknowledged"}},
		{"a fleeting drift is never told", func(s *scene) {
			s.find("01:00", "FV3", detect.CrashDrift, detect.High)
			s.find("01:19:59", "FV3", detect.CrashDrift, over)
			s.note(s.Advance(at("03:00")))
		}, []string{}},
		{"the delay begins anew each time", func(s *scene) {
			s.find("01:00", "FV3", detect.CrashDrift, detect.High)
			s.find("01:10", "FV3", detect.CrashDrift, over)
			s.find("01:11", "FV3", detect.CrashDrift, detect.High)
			s.note(s.Advance(at("01:31")))
		}, []string{"01:31 FV3 crash-drift high normal>unacknowledged"}},
		{"a relief valve that lifts and reseats is one call", func(s *scene) {
			s.find("01:00", "FV3", detect.OverPressure, detect.Critical)
			for _, clock := range []string{"01:10", "01:30", "01:50"} {
				s.find(clock, "FV3", detect.OverPressure, over)
				s.find(clock+":40", "FV3", detect.OverPressure, detect.Critical)
			}
			s.find("02:00", "FV3", detect.OverPressure, over)
			s.note(s.Advance(at("02:30")))
		}, []string{"01:00 FV3 over-pressure critical normal>unacknowledged", "02:30 FV3 over-pressure critical unacknowledged>returned"}},
		{"a repeat of the same finding is not told again", func(s *scene) {
			s.find("01:00", "FV3", detect.Refermentation, detect.High)
			s.find("01:05", "FV3", detect.Refermentation, detect.High)
			s.find("01:06", "FV3", detect.Refermentation, detect.Medium)
			s.find("01:07", "FV3", detect.Refermentation, detect.High)
		}, []string{"01:00 FV3 refermentation high normal>unacknowledged"}},
		{"grown worse it is told again", func(s *scene) {
			s.find("01:00", "FV3", detect.Refermentation, detect.Medium)
			s.find("01:05", "FV3", detect.Refermentation, detect.High)
		}, []string{
			"01:00 FV3 refermentation medium normal>unacknowledged",
			"01:05 FV3 refermentation high unacknowledged>unacknowledged",
		}},
		{"a priority that the finding leaves out is the catalogue's", func(s *scene) {
			s.log("01:00", "FV3", "package", nil)
		}, []string{"01:00 FV3 not-finished medium normal>unacknowledged"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := newScene(Options{Site: "test"})
			row.play(s)
			assert.Equal(t, row.want, s.lines())
		})
	}
}

// An onset is that of the spell which is told: kept while it goes on, and new for one that comes after a return.
func TestWhatComesBackBeganAnew(t *testing.T) {
	s := newScene(Options{Site: "test"})
	s.find("01:00", "FV3", detect.Refermentation, detect.Medium)
	s.find("01:30", "FV3", detect.Refermentation, over)
	s.find("01:40", "FV3", detect.Refermentation, detect.High)
	s.find("02:00", "FV3", detect.Refermentation, over)
	s.note(s.Advance(at("03:00")))
	s.find("05:00", "FV3", detect.Refermentation, detect.Medium)
	s.find("05:10", "FV3", detect.Refermentation, detect.High)

	var told []string
	for _, x := range s.told {
		told = append(told, fmt.Sprintf("%s %s since %s", x.Time.Format("15:04"), x.To, x.Onset.Format("15:04")))
	}
	assert.Equal(t, []string{
		"01:00 unacknowledged since 01:00",
		"01:40 unacknowledged since 01:00",
		"03:00 returned since 01:00",
		"05:00 unacknowledged since 05:00",
		"05:10 unacknowledged since 05:00",
	}, told)
}

func TestSuppressionByDesign(t *testing.T) {
	for _, row := range []struct {
		name string
		play func(s *scene)
		want []string
	}{
		{"over-pressure stands for pressure-rise of its own tank", func(s *scene) {
			s.find("01:00", "FV3", detect.PressureRise, detect.High)
			s.find("01:00", "FV4", detect.PressureRise, detect.High)
			s.find("01:05", "FV3", detect.OverPressure, detect.Critical)
			s.note(s.Advance(at("01:30")))
		}, []string{
			"01:05 FV3 over-pressure critical normal>unacknowledged",
			"01:30 FV3 pressure-rise high normal>suppressed",
			"01:30 FV4 pressure-rise high normal>unacknowledged",
		}},
		{"and hands back when it is over", func(s *scene) {
			s.find("01:00", "FV3", detect.PressureRise, detect.High)
			s.find("01:40", "FV3", detect.OverPressure, detect.Critical)
			s.find("02:00", "FV3", detect.OverPressure, over)
			s.note(s.Advance(at("02:30")))
		}, []string{
			"01:30 FV3 pressure-rise high normal>unacknowledged",
			"01:40 FV3 over-pressure critical normal>unacknowledged",
			"01:40 FV3 pressure-rise high unacknowledged>suppressed",
			"02:30 FV3 over-pressure critical unacknowledged>returned",
			"02:30 FV3 pressure-rise high suppressed>unacknowledged",
		}},
		{"refermentation under a crash-drift is still told", func(s *scene) {
			s.find("01:00", "FV3", detect.CrashDrift, detect.High)
			s.note(s.Advance(at("01:20")))
			s.find("01:30", "FV3", detect.Refermentation, detect.High)
		}, []string{
			"01:20 FV3 crash-drift high normal>unacknowledged",
			"01:30 FV3 refermentation high normal>unacknowledged",
		}},
		{"hands on the tank: the batch waits, the vessel does not", func(s *scene) {
			s.log("01:00", "FV3", "work", map[string]float64{"for": 1})
			s.find("01:05", "FV3", detect.Refermentation, detect.High)
			s.find("01:06", "FV3", detect.OverPressure, detect.Critical)
			s.find("01:07", "FV4", detect.Refermentation, detect.High)
			s.note(s.Advance(at("02:00")))
		}, []string{
			"01:05 FV3 refermentation high normal>suppressed",
			"01:06 FV3 over-pressure critical normal>unacknowledged",
			"01:07 FV4 refermentation high normal>unacknowledged",
			"02:00 FV3 refermentation high suppressed>unacknowledged",
		}},
		{"over before the hands are off is never told", func(s *scene) {
			s.log("01:00", "FV3", "work", map[string]float64{"for": 2})
			s.find("01:05", "FV3", detect.CrashDrift, detect.High)
			s.find("01:40", "FV3", detect.CrashDrift, over)
			s.note(s.Advance(at("03:30")))
		}, []string{
			"01:25 FV3 crash-drift high normal>suppressed",
			"01:50 FV3 crash-drift high suppressed>normal",
		}},
		{"nor is one that only fades when the hands come off", func(s *scene) {
			s.log("01:00", "FV3", "work", map[string]float64{"for": 1})
			s.find("01:05", "FV3", detect.CrashDrift, detect.High)
			s.find("01:56", "FV3", detect.CrashDrift, over)
			s.note(s.Advance(at("03:30")))
		}, []string{
			"01:25 FV3 crash-drift high normal>suppressed",
			"02:06 FV3 crash-drift high suppressed>normal",
		}},
		{"out of service is shown and not told", func(s *scene) {
			s.find("01:00", "FV3", detect.Leak, detect.Medium)
		}, []string{"01:00 FV3 leak medium normal>out-of-service"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := newScene(Options{Site: "test", Tuning: map[detect.Alarm]Tuning{detect.Leak: {OutOfService: true}}})
			row.play(s)
			assert.Equal(t, row.want, s.lines())
		})
	}
}

func TestAParentOutOfServiceExplainsNothing(t *testing.T) {
	s := newScene(Options{Tuning: map[detect.Alarm]Tuning{detect.OverPressure: {OutOfService: true}}})
	s.find("01:00", "FV3", detect.OverPressure, detect.Critical)
	s.find("01:00", "FV3", detect.PressureRise, detect.High)
	s.note(s.Advance(at("01:30")))
	assert.Equal(t, []string{
		"01:00 FV3 over-pressure critical normal>out-of-service",
		"01:30 FV3 pressure-rise high normal>unacknowledged",
	}, s.lines())
}

func TestTheLogClosesTheBatchNotTheVessel(t *testing.T) {
	goesOn := []string{"01:20 FV3 crash-drift high normal>unacknowledged"}
	closed := []string{
		"01:10 FV3 refermentation high unacknowledged>normal",
		"01:10 FV3 refermentation high normal>suppressed", // this detector holds on to it
		"01:20 FV3 crash-drift high normal>suppressed",
	}
	packaged := []string{closed[0], closed[1], "01:10 FV3 not-finished medium normal>unacknowledged", closed[2]}
	for _, row := range []struct {
		name    string
		amounts map[string]float64
		want    []string
	}{
		{"empty", nil, closed},
		{"transfer", nil, closed},
		{"transfer", map[string]float64{"volume": 500}, goesOn},
		{"transfer", map[string]float64{"volume": 2000}, closed},
		{"package", nil, packaged},
		{"sample", nil, goesOn},
	} {
		t.Run(fmt.Sprint(row.name, row.amounts), func(t *testing.T) {
			s := newScene(Options{})
			s.find("01:00", "FV3", detect.Refermentation, detect.High)
			s.find("01:00", "FV3", detect.Vacuum, detect.Critical)
			s.find("01:00", "FV3", detect.CrashDrift, detect.High) // waits for its delay
			s.note(s.Advance(at("01:02")))
			s.told = nil
			s.log("01:10", "FV3", row.name, row.amounts)
			s.note(s.Advance(at("02:00")))
			assert.Equal(t, row.want, s.lines())
			assert.Equal(t, detect.Vacuum, s.View().Incidents[0].Alarm)
			assert.Equal(t, Unacknowledged, s.View().Incidents[0].State)
		})
	}
}

func TestAProbeSilentInAnEmptyTankIsToldWithTheNextBatch(t *testing.T) {
	s := newScene(Options{})
	s.find("01:00", "FV3", "temperature", over)
	s.log("01:30", "FV3", "empty", nil)
	s.note(s.Advance(at("08:00")))
	s.log("08:30", "FV3", "pitch", nil)
	assert.Equal(t, []string{
		"01:45 FV3 probe-silent medium normal>suppressed", "08:30 FV3 probe-silent medium suppressed>unacknowledged",
	}, s.lines())
	assert.Equal(t, "the tank is empty", s.told[0].Why)
}

func TestWhatWentWithTheBeerStaysUntilItIsAnswered(t *testing.T) {
	s := newScene(Options{})
	s.log("01:00", "FV3", "package", nil)
	s.log("02:00", "FV3", "empty", nil)
	assert.Equal(t, []string{
		"01:00 FV3 not-finished medium normal>unacknowledged", "02:00 FV3 not-finished medium unacknowledged>returned",
	}, s.lines())
	assert.Equal(t, "the log says empty", s.told[1].Why)
}

func TestAShelvingEndsThoughSpileWasAway(t *testing.T) {
	s := newScene(Options{})
	s.find("01:00", "FV3", detect.CrashDrift, detect.High)
	s.note(s.Advance(at("01:20")))
	_, err := s.Shelve(s.told[0].ID, "Ines", "chiller engineer is here", at("02:00"), at("01:25"))
	require.NoError(t, err)
	ts := s.Started(at("03:00"))
	require.Len(t, ts, 1)
	assert.Equal(t, Unacknowledged, ts[0].To)
	assert.Equal(t, "the quiet time is over", ts[0].Why)
}

func TestAdvanceRunsEachMinuteOnce(t *testing.T) {
	s := newScene(Options{})
	s.find("00:10", "FV3", "temperature", over)
	ticks := func() int { return s.vessel("FV3").tank.(*scripted).Ticks }
	s.Advance(at("00:15"))
	require.Equal(t, 5, ticks())
	s.Advance(at("00:15:59"))
	s.Advance(at("00:12"))
	require.Equal(t, 5, ticks(), "neither twice nor backwards")
	assert.Equal(t, at("00:15:59"), s.View().At)
	s.find("00:14", "FV3", detect.Refermentation, detect.High)
	require.Equal(t, at("00:15:59"), s.Acknowledged(t, 0).Time, "times never go back")
}

func TestALateReadingOnlyShowsThatTheProbeLives(t *testing.T) {
	s := newScene(Options{})
	s.find("00:10", "FV3", "temperature", over)
	for _, q := range []detect.Quantity{detect.Quantity(detect.Refermentation), detect.Temperature} {
		s.note(s.Take(detect.Reading{Tank: "FV3", Quantity: q, Time: at("00:01"), Arrived: at("00:50"), Value: 4, Late: true}))
	}
	s.note(s.Advance(at("01:30")))
	assert.Empty(t, s.told)
}

// The air is the same over all tanks: who hangs a barometer anywhere tells all of them. A gauge tells its own tank alone.
func TestABarometerIsHeardOverAllTanks(t *testing.T) {
	outside := detect.Settings{At: map[string]detect.Place{"baro-1": detect.Outside}}
	w := newWatch(Options{Default: outside, Tanks: map[string]detect.Settings{"FV3": {}, "yard": outside}}, newScripted)
	say := func(clock, tank, probe string, kPa float64) {
		w.Take(detect.Reading{Tank: tank, Probe: probe, Quantity: detect.Pressure, Value: kPa, Time: at(clock), Arrived: at(clock)})
	}
	aired := func(tank string) float64 { return w.vessel(tank).tank.(*scripted).Aired }
	say("00:01", "FV4", "head-4", 80)
	assert.Zero(t, aired("FV3"))
	say("00:02", "yard", "baro-1", 100.9)
	assert.Equal(t, 100.9, aired("FV3"))
	assert.Equal(t, 100.9, aired("FV4"))
	assert.Zero(t, aired("yard"), "it took the reading itself")
}

func TestTuning(t *testing.T) {
	five, none := 5*time.Minute, time.Duration(0)
	s := newScene(Options{Tuning: map[detect.Alarm]Tuning{
		detect.CrashDrift: {OnDelay: &five}, detect.OverPressure: {OffDelay: &none},
	}})
	s.find("01:00", "FV3", detect.CrashDrift, detect.High)
	s.find("01:01", "FV3", detect.OverPressure, detect.Critical)
	s.find("01:02", "FV3", detect.OverPressure, over)
	s.note(s.Advance(at("01:10")))
	assert.Equal(t, []string{
		"01:01 FV3 over-pressure critical normal>unacknowledged",
		"01:02 FV3 over-pressure critical unacknowledged>returned",
		"01:05 FV3 crash-drift high normal>unacknowledged",
	}, s.lines())
}

func TestIncidentIDs(t *testing.T) {
	raise := func(site, tank string) string {
		s := newScene(Options{Site: site})
		s.find("01:00", tank, detect.Refermentation, detect.High)
		return s.told[0].ID
	}
	id := raise("north-quay", "FV3")
	assert.Regexp(t, `^[a-z2-7]{16}$`, id)
	assert.Equal(t, id, raise("north-quay", "FV3"), "derived, so the same again")
	assert.NotEqual(t, id, raise("south-quay", "FV3"))
	assert.NotEqual(t, id, raise("north-quay", "FV4"))

	s := newScene(Options{Site: "north-quay"})
	s.find("01:00", "FV3", detect.Refermentation, detect.High)
	s.log("01:00", "FV3", "empty", nil)
	require.Equal(t, s.told[0].Time, s.told[2].Time)
	assert.NotEqual(t, s.told[0].ID, s.told[2].ID, "two incidents of one instant are two")
}

func TestConfiguredTanksAreThereFromTheStart(t *testing.T) {
	w := NewWatch(Options{Tanks: map[string]detect.Settings{"FV2": {}, "FV1": {}}})
	view := w.View()
	require.Len(t, view.Tanks, 2)
	assert.Equal(t, "FV1", view.Tanks[0].Tank)
	assert.Empty(t, view.Incidents)
}

func TestViewPutsTheMostPressingFirst(t *testing.T) {
	s := newScene(Options{})
	s.find("01:00", "FV1", detect.Refermentation, detect.High)
	s.find("01:01", "FV2", detect.OverPressure, detect.Critical)
	s.find("01:02", "FV2", detect.PressureRise, detect.High)
	s.find("01:03", "FV3", detect.Leak, detect.Medium)
	s.note(s.Advance(at("01:40")))
	s.Acknowledged(t, 1) // the over-pressure
	var got []string
	view := s.View()
	for _, i := range view.Incidents {
		got = append(got, fmt.Sprint(i.Tank, " ", i.Alarm, " ", i.State))
	}
	assert.Equal(t, []string{
		"FV1 refermentation unacknowledged", "FV3 leak unacknowledged", "FV2 over-pressure acknowledged", "FV2 pressure-rise suppressed",
	}, got)
	assert.Equal(t, "explained by over-pressure", view.Tanks[1].Incidents[1].Why)
	assert.Equal(t, at("01:32"), view.Tanks[1].Incidents[1].Since)
}

// A transfer is logged in the tank that gives: the one that receives must hear of it.
func TestATransferIsHeardWhereTheBeerGoes(t *testing.T) {
	w := newWatch(Options{Tanks: map[string]detect.Settings{"FV3": {}, "FV4": {}, "FV5": {}}}, newScripted)
	from := func(tank string) string { return w.vessel(tank).tank.(*scripted).From }
	for _, event := range []string{"sample", "transfer"} {
		require.Empty(t, from("FV4"))
		w.Log(detect.Event{Tank: "FV3", Name: event, Time: at("00:01"), Arrived: at("00:01"), Words: map[string]string{"to": "FV4"}})
	}
	assert.Equal(t, "FV3", from("FV4"))
	assert.Empty(t, from("FV3"))
	assert.Empty(t, from("FV5"))
	before := len(w.vessels)
	w.Log(detect.Event{Tank: "FV3", Name: "transfer", Time: at("00:02"), Arrived: at("00:02"), Words: map[string]string{"to": "elsewhere"}})
	assert.Len(t, w.vessels, before, "one that nobody watches is none")
}
