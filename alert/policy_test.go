package alert

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect"
)

func TestFollowUps(t *testing.T) {
	for _, row := range []struct {
		from, to State
		told     bool
	}{
		{Unacknowledged, Acknowledged, true},
		{Suppressed, Acknowledged, false},
		{Unacknowledged, Returned, true},
		{Suppressed, Returned, true},
		{Acknowledged, Normal, true},
		{Unacknowledged, Normal, true}, // closed by the log
		{Suppressed, Normal, true},
		{Returned, Normal, false},
		{Shelved, Normal, false},
		{Unacknowledged, Shelved, true},
		{Normal, Suppressed, false},
		{Unacknowledged, Suppressed, false},
		{Normal, OutOfService, false},
	} {
		assert.Equal(t, row.told, isFollowUp(Transition{From: row.from, To: row.to}), "%s>%s", row.from, row.to)
	}
}

func TestHours(t *testing.T) {
	zone := time.FixedZone("cellar", 3600)
	night := Hours{18 * time.Hour, 7 * time.Hour}
	weekdays := []time.Weekday{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday}
	for _, row := range []struct {
		name string
		hook Webhook
		at   string // of a week that begins on Monday, 2 March 2026
		want bool
	}{
		{"always", Webhook{}, "2026-03-02T03:00", true},
		{"evening", Webhook{Hours: night}, "2026-03-02T18:00", true},
		{"small hours", Webhook{Hours: night}, "2026-03-02T06:59", true},
		{"morning", Webhook{Hours: night}, "2026-03-02T07:00", false},
		{"afternoon", Webhook{Hours: night}, "2026-03-02T17:59", false},
		{"the small hours of Saturday are Friday's", Webhook{Hours: night, Days: weekdays}, "2026-03-07T03:00", true},
		{"Saturday evening is not", Webhook{Hours: night, Days: weekdays}, "2026-03-07T19:00", false},
		{"nor the small hours of Monday", Webhook{Hours: night, Days: weekdays}, "2026-03-02T03:00", false},
		{"within a day", Webhook{Hours: Hours{8 * time.Hour, 17 * time.Hour}}, "2026-03-02T16:59", true},
		{"after it", Webhook{Hours: Hours{8 * time.Hour, 17 * time.Hour}}, "2026-03-02T17:00", false},
		{"the whole day", Webhook{Hours: Hours{0, 24 * time.Hour}, Days: weekdays}, "2026-03-06T23:59", true},
		{"days alone", Webhook{Days: []time.Weekday{time.Sunday}}, "2026-03-08T12:00", true},
		{"other days", Webhook{Days: []time.Weekday{time.Sunday}}, "2026-03-07T12:00", false},
	} {
		at, err := time.ParseInLocation("2006-01-02T15:04", row.at, zone)
		require.NoError(t, err)
		assert.Equal(t, row.want, row.hook.open(at), row.name)
	}
}

func TestHoursFollowTheClockOnTheWall(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	require.NoError(t, err)
	hook := Webhook{Hours: Hours{7 * time.Hour, 18 * time.Hour}}
	for at, want := range map[string]bool{
		"2026-03-28T06:59:00Z": false, "2026-03-28T07:00:00Z": true, // winter
		"2026-03-29T05:59:00Z": false, "2026-03-29T06:00:00Z": true, // summer time began that night
	} {
		moment, err := time.Parse(time.RFC3339, at)
		require.NoError(t, err)
		assert.Equal(t, want, hook.open(moment.In(zone)), at)
	}
}

func TestThreshold(t *testing.T) {
	p := Policy{Webhooks: []Webhook{{Name: "phone", Priority: detect.Critical}, {Name: "board"}, {Name: "mail", Priority: detect.Medium}}}
	s := newScene(Options{Policy: p})
	s.find("01:00", "FV3", detect.Leak, detect.Medium)
	assert.Equal(t, []string{"01:00 board", "01:00 mail"}, s.rings())
	s.find("01:01", "FV3", detect.OverPressure, detect.Critical)
	assert.Equal(t, []string{"01:01 phone", "01:01 board", "01:01 mail"}, s.rings())

	// It grew critical while nobody could be told, and is over: who was never called need not hear the end.
	s.log("01:02", "FV3", "work", map[string]float64{"for": 3})
	s.find("01:03", "FV3", detect.Leak, detect.Critical)
	s.find("01:04", "FV3", detect.Leak, over)
	s.note(s.Advance(at("02:10")))
	assert.Equal(t, []string{"02:04 board returned", "02:04 mail returned"}, s.rings())
}

func TestEveryCallHasAnEnd(t *testing.T) {
	// Through any night, a webhook hears of an incident first by a call; and when the alarm is over without a person's
	// answer having closed it, the last thing it hears is not a call, once its hours come.
	rapid.Check(t, func(t *rapid.T) {
		p := drawPolicy(t)
		w := newWatch(Options{Policy: p}, newScripted)
		now := midnight
		last := map[[2]string]State{}
		ids := map[string]bool{}
		hear := func() {
			for _, n := range w.Notices() {
				require.False(t, ids[n.ID], "no two messages share an id")
				ids[n.ID] = true
				for _, about := range n.abouts() {
					key := [2]string{n.Webhook, about.ID}
					if _, heard := last[key]; !heard && n.Message.Kind == KindAlarm {
						require.Equal(t, Unacknowledged, about.To, "first comes the call")
					}
					last[key] = about.To
				}
			}
		}
		for _, m := range drawMoves(t) {
			now = now.Add(m.wait)
			m.play(w, now)
			hear()
		}
		w.Advance(now.Add(24 * time.Hour)) // everybody's hours have come
		hear()
		open := map[string]bool{}
		for _, i := range w.View().Incidents {
			open[i.ID] = true
		}
		for key, state := range last {
			if state == Unacknowledged {
				require.True(t, open[key[1]], "%s still rings at %s though it is over", key[1], key[0])
			}
		}
	})
}

// abouts are the alarms that a notice speaks of.
func (n Notice) abouts() []Named {
	if n.Message.Kind == KindAlarm {
		return []Named{{ID: n.Message.ID, To: n.Message.To}}
	}
	return n.Message.Alarms
}

// drawPolicy draws what two people could have wanted.
func drawPolicy(t *rapid.T) Policy {
	hook := func(name, then string) Webhook {
		h := Webhook{
			Name: name, Priority: rapid.SampledFrom([]detect.Priority{"", detect.Medium, detect.High, detect.Critical}).Draw(t, "priority"),
			Repeat: time.Duration(rapid.IntRange(0, 2).Draw(t, "repeat")) * 10 * time.Minute,
		}
		if rapid.Bool().Draw(t, "hours") {
			h.Hours = Hours{18 * time.Hour, 7 * time.Hour}
		}
		if rapid.Bool().Draw(t, "then") {
			h.Then, h.After = then, 7*time.Minute
		}
		if rapid.Bool().Draw(t, "report") {
			seven := 7 * time.Hour
			h.Report = &seven
		}
		return h
	}
	return Policy{
		Webhooks: []Webhook{hook("phone", "owner"), hook("owner", "phone")}, Public: rapid.Bool().Draw(t, "public"),
		Wake: rapid.SampledFrom([]Wake{WakeAlways, WakeNear}).Draw(t, "wake"),
	}
}
