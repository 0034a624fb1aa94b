package alert

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// pair is two watches over one cellar: the first speaks, the second stands by.
func pair(t *testing.T) (first, second *scene) {
	t.Helper()
	o := Options{Site: "north-quay", Policy: Policy{Public: true, Webhooks: []Webhook{{Name: "phone", Priority: detect.High, Repeat: 15 * time.Minute}}}}
	first, second = newScene(o), newScene(o)
	second.note(second.Speak(false, midnight))
	return first, second
}

// hand lets one adopt what the other hands over, by the way of a message.
func hand(t *testing.T, from, to *scene, clock string) {
	t.Helper()
	body, err := json.Marshal(from.Handover())
	require.NoError(t, err)
	var h Handover
	require.NoError(t, json.Unmarshal(body, &h))
	to.note(to.Adopt(h, at(clock)))
}

// ids are those of the alarms that are open.
func (s *scene) ids() []string {
	var out []string
	for _, in := range s.View().Incidents {
		out = append(out, in.ID)
	}
	return out
}

// unbroken follows each incident through what was told: each step begins where the one before led.
func unbroken(t *testing.T, steps []Transition) {
	t.Helper()
	states := map[string]State{}
	for _, s := range steps {
		before, known := states[s.ID]
		if !known {
			before = Normal
		}
		require.Equal(t, before, s.From, "%s %s at %s", s.ID, s.Alarm, s.Time)
		states[s.ID] = s.To
	}
}

func TestTheOneThatStandsByJudgesAndIsSilent(t *testing.T) {
	first, second := pair(t)
	first.find("01:00", "FV3", detect.Vacuum, detect.Critical)
	second.find("01:00:02", "FV3", detect.Vacuum, detect.Critical)
	first.note(first.Advance(at("01:16")))
	second.note(second.Advance(at("01:16")))
	assert.Equal(t, []string{"01:01 phone", "01:16 phone again 1"}, first.rings())
	assert.Empty(t, second.rings())
	assert.Len(t, second.ids(), 1, "it has come to the same")
}

func TestItTakesTheIDsOfTheOther(t *testing.T) {
	for name, c := range map[string]struct{ first, second string }{
		"before it knows of the alarm": {"01:00", "01:09"},
		"after":                        {"01:02", "01:00"},
	} {
		t.Run(name, func(t *testing.T) {
			first, second := pair(t)
			if c.second < c.first {
				second.find(c.second, "FV3", detect.Vacuum, detect.Critical)
			}
			first.find(c.first, "FV3", detect.Vacuum, detect.Critical)
			first.note(first.Advance(at("01:05")))
			hand(t, first, second, "01:05")
			if c.second > c.first {
				second.find(c.second, "FV3", detect.Vacuum, detect.Critical)
			}
			second.note(second.Advance(at("01:11")))
			assert.Equal(t, first.ids(), second.ids())
			unbroken(t, second.told)
			second.note(second.Speak(true, at("01:11")))
			assert.Empty(t, second.rings(), "it was told already")
			second.note(second.Advance(at("01:40")))
			rings := second.rings()
			require.NotEmpty(t, rings, "nobody has answered, so it goes on calling")
			assert.Contains(t, rings[0], "phone again 1")
			second.find("01:50", "FV3", detect.Vacuum, "")
			second.note(second.Advance(at("02:30")))
			assert.Contains(t, second.rings(), "01:55 phone returned", "and tells the end")
		})
	}
}

func TestWhatTheOtherDidNotTellIsTold(t *testing.T) {
	first, second := pair(t)
	first.find("01:00", "FV3", detect.Vacuum, detect.Critical)
	first.note(first.Advance(at("01:01")))
	hand(t, first, second, "01:01")
	second.find("01:01:01", "FV3", detect.Vacuum, detect.Critical)
	second.find("01:01:02", "FV4", detect.OverPressure, detect.Critical) // the first has died meanwhile
	second.find("01:01:03", "FV5", detect.Vacuum, detect.Critical)
	second.find("01:01:04", "FV5", detect.Vacuum, "")
	second.note(second.Advance(at("01:02:20")))
	assert.Empty(t, second.rings())
	second.note(second.Speak(true, at("01:02:20")))
	assert.Equal(t, []string{"01:02:20 phone"}, second.rings(), "FV4 alone: FV3 was told, FV5 is over")
}

func TestWhoHasAnsweredThereIsNotCalledHere(t *testing.T) {
	first, second := pair(t)
	first.find("01:00", "FV3", detect.Vacuum, detect.Critical)
	second.find("01:00:01", "FV3", detect.Vacuum, detect.Critical)
	first.note(first.Advance(at("01:02")))
	steps, err := first.Acknowledge(first.ids()[0], "Ana", "", at("01:03"))
	require.NoError(t, err)
	first.note(steps)
	second.note(second.Advance(at("01:03")))
	hand(t, first, second, "01:03")
	assert.Equal(t, Acknowledged, second.View().Incidents[0].State)
	unbroken(t, second.told)
	second.note(second.Speak(true, at("01:04")))
	second.note(second.Advance(at("02:00")))
	assert.Empty(t, second.rings())
}

func TestTheFirstComesBackAndGoesOn(t *testing.T) {
	first, second := pair(t)
	second.note(second.Speak(true, at("01:00"))) // the first is away
	second.find("01:10", "FV3", detect.Vacuum, detect.Critical)
	second.note(second.Advance(at("01:12")))
	require.Len(t, second.rings(), 1)

	first.note(first.Speak(false, at("01:20")))
	first.find("01:20", "FV3", detect.Vacuum, detect.Critical) // it hears late what it missed
	hand(t, second, first, "01:22")
	second.note(second.Speak(false, at("01:22")))
	first.note(first.Speak(true, at("01:22")))
	first.note(first.Advance(at("01:40")))
	assert.Equal(t, second.ids(), first.ids())
	unbroken(t, first.told)
	assert.Equal(t, []string{"01:26 phone again 1"}, first.rings(), "15 minutes after the second's call")
	assert.Empty(t, second.rings())
}

func TestSilenceOutlivesARestart(t *testing.T) {
	first, second := pair(t)
	first.find("01:00", "FV3", detect.Vacuum, detect.Critical)
	first.note(first.Advance(at("01:01")))
	hand(t, first, second, "01:01")
	body, err := second.Snapshot()
	require.NoError(t, err)
	again := newScene(second.options)
	require.NoError(t, again.Restore(body))
	assert.False(t, again.Speaks())
	again.find("01:05", "FV3", detect.Vacuum, detect.Critical)
	again.note(again.Advance(at("01:07")))
	assert.Equal(t, first.ids(), again.ids())
	assert.Empty(t, again.rings())
}

func TestWhatTheOtherHadOpenLongAgoIsNotMeant(t *testing.T) {
	first, second := pair(t)
	first.find("01:00", "FV3", detect.Vacuum, detect.Critical)
	first.note(first.Advance(at("01:01")))
	hand(t, first, second, "01:01")
	second.note(second.Speak(true, at("01:02")))
	second.find("03:00", "FV3", detect.Vacuum, detect.Critical)
	second.note(second.Advance(at("03:02")))
	require.Len(t, second.ids(), 1)
	assert.NotEqual(t, first.ids(), second.ids())
	assert.Len(t, second.rings(), 1)
}

func TestThatTheBrokerIsLostIsOneAlarmForBoth(t *testing.T) {
	first, second := pair(t)
	for _, s := range []*scene{first, second} {
		s.note(s.Lease("7", at("00:30")))
	}
	first.note(first.LinkLost(at("01:00:10"), "EOF"))
	second.note(second.LinkLost(at("01:01:05"), "no answer")) // found out by another ping
	second.note(second.Speak(true, at("01:01:30")))           // nobody can be asked
	first.note(first.Advance(at("01:20")))
	second.note(second.Advance(at("01:20")))
	require.Len(t, first.ids(), 1)
	assert.Equal(t, first.ids(), second.ids())
	before := first.ids()
	for _, s := range []*scene{first, second} {
		s.note(s.LinkFound(at("01:30")))
		s.note(s.Lease("8", at("01:30")))
		steps, err := s.Acknowledge(before[0], "Ana", "", at("02:00"))
		require.NoError(t, err)
		s.note(steps)
		s.note(s.LinkLost(at("03:00"), "EOF"))
		s.note(s.Advance(at("03:20")))
		unbroken(t, s.told)
	}
	assert.Equal(t, first.ids(), second.ids())
	assert.NotEqual(t, before, first.ids(), "another loss is another alarm")
}

func TestOfItsOwnMachineItTellsWhoeverSpeaks(t *testing.T) {
	_, second := pair(t)
	second.note(second.Fails(at("01:00"), JournalDisk, "80 MB left"))
	assert.Equal(t, []string{"01:00 phone"}, second.rings())
	second.note(second.Advance(at("01:16")))
	assert.Equal(t, []string{"01:15 phone again 1"}, second.rings())
	assert.Empty(t, second.Handover().Alarms, "it is nobody else's")
	second.find("01:20", "FV3", detect.Vacuum, detect.Critical)
	second.note(second.Advance(at("01:25")))
	assert.Empty(t, second.rings(), "but of the cellar it is silent")
}

// Whatever comes as a handover: no panic, no tank that cannot be one, and what is kept of it can be read again.
func FuzzAdopt(f *testing.F) {
	o := Options{Site: "north-quay", Policy: Policy{Webhooks: []Webhook{
		{Name: "phone", Priority: detect.High, Repeat: time.Minute, Then: "office", After: time.Minute}, {Name: "office"},
	}}}
	other := newScene(o)
	other.find("01:00", "FV3", detect.Vacuum, detect.Critical)
	other.find("01:01", "FV4", detect.Refermentation, detect.High)
	_, err := other.Acknowledge(other.ids()[0], "Ines", "", at("01:05"))
	require.NoError(f, err)
	whole, err := json.Marshal(other.Handover())
	require.NoError(f, err)
	for _, seed := range []string{string(whole), `{}`, `null`, `{"alarms":[{}]}`, `{"alarms":[{"tank":"FV3","alarm":"vacuum","to":"acknowledged","id":"x","parties":{"phone":null}}]}`,
		`{"lines":{"phone":null,"nobody":{}}}`, `{"alarms":[{"tank":"FV3","alarm":"vacuum","to":"shelved","until":"9999-12-31T00:00:00Z"}]}`,
		`{"alarms":[{"tank":"\u0000/..","alarm":"nothing"},{"alarm":"link-lost","id":"y"}]}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		var h Handover
		if json.Unmarshal(body, &h) != nil {
			return
		}
		s := newScene(o)
		s.note(s.Speak(false, midnight))
		s.find("01:00:30", "FV3", detect.Vacuum, detect.Critical)
		s.note(s.Adopt(h, at("01:06")))
		s.find("01:07", "FV4", detect.Refermentation, detect.High)
		s.note(s.Adopt(h, at("01:08")))
		s.note(s.Speak(true, at("01:10")))
		s.note(s.Advance(at("02:10")))
		for _, tank := range s.View().Tanks {
			require.True(t, detect.ValidName(tank.Tank), "%q", tank.Tank)
		}
		kept, err := s.Snapshot()
		if err != nil {
			return // such as a year that JSON cannot write
		}
		require.NoError(t, newWatch(o, newScripted).Restore(kept))
	})
}
