package alert

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"spile/detect"
)

// gassed is a tank whose gauge's word decides: over 50 kPa, and its beer ferments again.
type gassed struct {
	warm
	by detect.Quantity // the witness that it names
}

func (g *gassed) Take(r detect.Reading) []detect.Finding {
	g.Celsius, g.At = r.Value, r.Time
	was := g.Over
	g.Over = r.Value > 50
	if g.Over == was {
		return nil
	}
	return []detect.Finding{{Alarm: detect.Refermentation, Quantity: g.by, Active: g.Over, Time: r.Arrived, Onset: r.Time}}
}

func (g *gassed) Status() detect.Status {
	return detect.Status{Tank: g.name, Last: map[detect.Quantity]detect.Latest{detect.Pressure: {Value: g.Celsius, Time: g.At, Probe: "head"}}}
}

// shared is a scene of FV2 and FV3, whose gas is joined, and of FV4 alone. FV3 is called by the witness that is named.
func shared(by detect.Quantity) *scene {
	left := detect.Settings{GasGroup: "left"}
	s := &scene{Watch: newWatch(
		Options{
			Site: "test", Policy: Policy{Webhooks: []Webhook{{Name: "phone"}}},
			Tanks: map[string]detect.Settings{"FV2": left, "FV3": left, "FV4": {}},
		},
		func(name string, _ detect.Settings) tank {
			g := &gassed{warm: warm{name: name, Celsius: 40}, by: detect.Pressure}
			if name == "FV3" {
				g.by = by
			}
			return g
		})}
	s.note(s.Advance(midnight))
	return s
}

// press has the gauge of a tank say something.
func (s *scene) press(clock, tank string, kPa float64) {
	s.note(s.Take(detect.Reading{Tank: tank, Probe: "head", Quantity: detect.Pressure, Time: at(clock), Arrived: at(clock), Value: kPa}))
}

func TestJoinedGasIsToldOnce(t *testing.T) {
	s := shared(detect.Pressure)
	for _, tank := range []string{"FV2", "FV3", "FV4"} {
		s.press("00:05", tank, 40)
	}
	s.note(s.Advance(at("00:10")))
	s.press("00:41", "FV2", 49)
	s.press("00:42", "FV3", 49)
	s.press("00:43", "FV4", 49)
	s.note(s.Advance(at("00:50")))
	s.press("00:51", "FV2", 51)
	s.press("00:52", "FV3", 51)
	s.press("00:53", "FV4", 51)
	assert.Equal(t, []string{
		"00:51 FV2 refermentation high normal>unacknowledged", "00:52 FV3 refermentation high normal>suppressed",
		"00:53 FV4 refermentation high normal>unacknowledged",
	}, s.lines(), "FV4's gas is its own, whatever it does at the same time")
	assert.Equal(t, []string{"FV3"}, s.told[0].Evidence.Joined)
	assert.Equal(t, "told by FV2, whose gas is joined", s.told[1].Why)
	assert.Empty(t, s.told[2].Evidence.Joined)
	text := Words{}.Text(s.Notices()[0].Message)
	assert.Contains(t, strings.Split(text, "\n")[1], "same gas, and moved with it: FV3; look at each, and at the header")

	s.press("02:00", "FV2", 45)
	s.note(s.Advance(at("03:00")))
	assert.Equal(t, []string{"02:10 FV3 refermentation high suppressed>unacknowledged", "03:00 FV2 refermentation high unacknowledged>returned"},
		s.lines()[3:], "FV2 falls and FV3 does not: they are joined no longer")
}

func TestWhatIsNotOfTheJoinedGasIsToldByItself(t *testing.T) {
	for name, test := range map[string]struct {
		by    detect.Quantity
		other float64 // what FV3's gauge says by then
		rings bool
	}{
		"its own gravity falls":      {detect.Gravity, 49, true},
		"its pressure moves further": {detect.Pressure, 70, true},
		"both move alike":            {detect.Pressure, 49, false},
	} {
		t.Run(name, func(t *testing.T) {
			s := shared(test.by)
			s.press("00:05", "FV2", 40)
			s.press("00:05", "FV3", 40)
			s.note(s.Advance(at("00:10")))
			s.press("00:41", "FV2", 49)
			s.note(s.Advance(at("00:45")))
			s.press("00:46", "FV2", 51)
			s.press("00:47", "FV3", test.other)
			s.note(s.Advance(at("00:50")))
			s.press("00:51", "FV3", test.other+2)
			s.note(s.Advance(at("01:10")))
			calls := 0
			for _, line := range s.lines() {
				if strings.Contains(line, "FV3") && strings.HasSuffix(line, ">unacknowledged") {
					calls++
				}
			}
			assert.Equal(t, test.rings, calls == 1, s.lines())
		})
	}
}

func TestAVesselsAlarmIsNotTheGroups(t *testing.T) {
	for _, a := range []detect.Alarm{detect.OverPressure, detect.Vacuum, detect.CrashDrift} {
		assert.False(t, ofTheGas(detect.Finding{Alarm: a, Quantity: detect.Pressure}), a)
	}
}

func TestATrailFollowsOneProbe(t *testing.T) {
	trail := trail{}
	for i, kPa := range []float64{40, 41, 42, 44} {
		trail.keep("FV2", detect.Latest{Probe: "head", Time: midnight.Add(time.Duration(i) * samplePace), Value: kPa}, 3)
	}
	moved, ok := trail.moved("FV2", midnight)
	assert.True(t, ok)
	assert.Equal(t, 3.0, moved, "the oldest is gone")
	trail.keep("FV2", detect.Latest{Probe: "other", Time: midnight.Add(4 * samplePace), Value: 90}, 3)
	moved, _ = trail.moved("FV2", midnight)
	assert.Equal(t, 3.0, moved, "another gauge reads differently")
	_, ok = trail.moved("FV2", midnight.Add(samplePace*3))
	assert.False(t, ok, "one sample moves nowhere")
	_, ok = trail.moved("FV9", midnight)
	assert.False(t, ok)
}
