package scenario

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect"
)

// on is a moment of the usual scenario.
func on(day, hour, minute int) time.Time {
	return usualStart().AddDate(0, 0, day-1).Add(time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute)
}

// call is a person called.
func call(at time.Time, a detect.Alarm, p detect.Priority) Step {
	return Step{Time: at, Incident: string(a) + at.String(), Tank: "FV3", Alarm: a, Priority: p, Called: true, Summary: "it says so"}
}

// end is the end of an incident.
func end(of Step, at time.Time) Step {
	of.Time, of.Called, of.Over = at, false, true
	return of
}

func TestHold(t *testing.T) {
	ferments := call(on(3, 8, 0), detect.Refermentation, detect.High)
	silent := call(on(2, 8, 0), detect.ProbeSilent, detect.Medium)
	silent.Probe = "hyd-1"
	quiet := call(on(2, 9, 0), detect.Leak, detect.Low)
	hushed := call(on(2, 9, 0), detect.Vacuum, detect.Critical)
	hushed.Called = false // suppressed by design
	for _, c := range []struct {
		name, expect string
		steps        []Step
		want         string // empty: all is well
	}{
		{"it came", "expect refermentation between day 3 04:00 and day 3 16:00", []Step{ferments}, ""},
		{"at the first minute", "expect refermentation between day 3 08:00 and day 3 16:00", []Step{ferments}, ""},
		{"at the last minute", "expect refermentation by day 3 08:00", []Step{ferments}, ""},
		{"never", "expect refermentation between day 3 04:00 and day 3 16:00", nil,
			"night:1: refermentation was expected between day 3 04:00 and day 3 16:00, but it never came"},
		{"too late", "expect refermentation by day 3 07:00", []Step{ferments},
			"night:1: refermentation was expected by day 3 07:00, but came only at day 3 08:00: it says so"},
		{"too early", "expect refermentation after day 3 09:00", []Step{ferments},
			"night:1: refermentation was expected after day 3 09:00, but came as early as day 3 08:00: it says so"},
		{"early and in time", "expect refermentation after day 3 09:00", []Step{ferments, call(on(3, 10, 0), detect.Refermentation, detect.High)},
			"came as early as"},
		{"early, but another line wants it", "expect refermentation by day 3 08:30\nexpect refermentation after day 3 09:00",
			[]Step{ferments, call(on(3, 10, 0), detect.Refermentation, detect.High)}, ""},
		{"not so high", "expect refermentation as critical", []Step{ferments},
			"night:1: refermentation at critical or above was expected, but it never came"},
		{"another tank's", "expect FV4: refermentation", []Step{ferments}, "refermentation of FV4 was expected, but it never came"},
		{"another probe's", "expect probe-silent on hyd-2", []Step{silent}, "probe-silent on hyd-2 was expected, but it never came"},
		{"suppressed is not called", "expect vacuum", []Step{hushed}, "but it never came"},
		{"suppressed does not ring", "expect no vacuum", []Step{hushed}, ""},
		{"not wanted", "expect no refermentation", []Step{ferments},
			"night:1: no refermentation was expected, but high refermentation of FV3 came at day 3 08:00: it says so"},
		{"not wanted then", "expect no refermentation by day 3 07:59", []Step{ferments}, ""},
		{"not that high", "expect no probe-silent above medium", []Step{silent}, ""},
		{"nothing", "expect nothing above low\nexpect probe-silent", []Step{silent, quiet},
			"night:1: nothing at medium or above was expected, but medium probe-silent on hyd-1 of FV3 came at day 2 08:00"},
		{"nothing else", "expect nothing else above low\nexpect probe-silent", []Step{silent, quiet}, ""},
		{"something else", "expect nothing else above low\nexpect probe-silent on hyd-2 by day 2 10:00", []Step{silent},
			"nothing else at medium or above was expected, but medium probe-silent on hyd-1"},
		{"stayed", "expect refermentation, returns by day 4 00:00", []Step{ferments},
			"refermentation came at day 3 08:00 and was to return by day 4 00:00, but it stayed"},
		{"returned", "expect refermentation, returns by day 4 00:00", []Step{ferments, end(ferments, on(3, 22, 0))}, ""},
		{"returned too late", "expect refermentation, returns by day 4 00:00", []Step{ferments, end(ferments, on(4, 1, 0))},
			"but returned only at day 4 01:00"},
		{"another's return", "expect refermentation, returns by day 4 00:00", []Step{ferments, end(silent, on(3, 22, 0))}, "but it stayed"},
		{"cannot be told", "expect no leak after day 9 00:00", nil,
			"night:1: no leak cannot be told: what was heard runs from day 1 00:00 to day 6 00:00"},
		{"heard not far enough", "expect leak between day 5 00:00 and day 9 00:00", nil,
			"but what was heard ends at day 6 00:00 and until then it never came"},
		{"absolute", "expect leak by 2026-03-03T00:00:00Z", []Step{quiet},
			"leak was expected by 2026-03-03T00:00:00Z, but came only at 2026-03-03T09:00:00Z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Parse("night", c.expect)
			require.NoError(t, err)
			err = s.Hold(c.steps, on(1, 0, 0), on(6, 0, 0))
			if c.want == "" {
				assert.NoError(t, err)
				return
			}
			assert.ErrorContains(t, err, c.want)
		})
	}
}

func TestHoldNamesEveryFailure(t *testing.T) {
	s, err := Parse("night", "expect leak\n\nexpect vacuum\n")
	require.NoError(t, err)
	err = s.Hold(nil, on(1, 0, 0), on(2, 0, 0))
	assert.EqualError(t, err, "night:1: leak was expected, but it never came\nnight:3: vacuum was expected, but it never came")
}

func TestHoldCountsDaysFromTheNightItself(t *testing.T) {
	s, err := Parse("night", "expect leak by day 1 10:00")
	require.NoError(t, err)
	from := time.Date(2027, 7, 9, 6, 30, 0, 0, time.UTC)
	leak := call(from.Add(3*time.Hour), detect.Leak, detect.Medium)
	assert.NoError(t, s.Hold([]Step{leak}, from, from.Add(24*time.Hour)), "09:30 of its first day")
	leak.Time = from.Add(4 * time.Hour)
	assert.ErrorContains(t, s.Hold([]Step{leak}, from, from.Add(24*time.Hour)), "came only at day 1 10:30")
}

func TestTheOnlyTankNeedNotBeNamed(t *testing.T) {
	leak := call(on(2, 0, 0), detect.Leak, detect.Medium)
	leak.Tank = "FV4"
	s := parse(t, "tank FV3: open\nprobe hyd-1: float\nexpect no leak")
	assert.NoError(t, s.Hold([]Step{leak}, on(1, 0, 0), on(4, 0, 0)), "it is not FV3's")
	s = parse(t, "expect no leak")
	assert.Error(t, s.Hold([]Step{leak}, on(1, 0, 0), on(4, 0, 0)))
}

// What is written reads back as the same minute, before day 1 too.
func TestMomentsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		minute := rapid.IntRange(firstDay*24*60, (lastDay-1)*24*60).Draw(t, "minute")
		dayOne := usualStart().Add(time.Duration(rapid.IntRange(-23, 23).Draw(t, "offset")) * time.Hour)
		at := dayOne.Add(time.Duration(minute) * time.Minute)
		for _, style := range []moment{{set: true}, {set: true, absolute: dayOne}} {
			text := style.written(at, dayOne)
			m, rest, err := takeMoment(words(text))
			if err != nil || len(rest) > 0 || !m.at(dayOne).Equal(at) {
				t.Fatalf("%s read as %v, %v, %v", text, m, rest, err)
			}
		}
	})
}
