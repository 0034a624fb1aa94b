package alert

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestAfterHandsOnThePersonIsAsked(t *testing.T) {
	hour := map[string]float64{"for": 1}
	for _, row := range []struct {
		name    string
		play    func(s *scene)
		answers []string // nil: nobody asks
	}{
		{"nothing else known", func(*scene) {}, []string{"sample", "dry-hop", "yeast-off"}},
		{"blown down", func(s *scene) { s.gauge("01:50", "head", detect.Pressure, 2) }, []string{"vent", "dry-hop", "transfer"}},
		{"gas added", func(s *scene) { s.gauge("01:50", "head", detect.Pressure, 95) }, []string{"gas", "seal", "rouse"}},
		{"hardly moved", func(s *scene) { s.gauge("01:50", "head", detect.Pressure, 78) }, []string{"sample", "dry-hop", "yeast-off"}},
		{"logged meanwhile", func(s *scene) { s.log("01:30", "FV3", "sample", nil) }, nil},
		{"logged on another tank", func(s *scene) { s.log("01:30", "FV4", "sample", nil) }, []string{"sample", "dry-hop", "yeast-off"}},
		{"a note is no answer", func(s *scene) { s.log("01:30", "FV3", "note", nil) }, []string{"sample", "dry-hop", "yeast-off"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := asking()
			s.gauge("00:50", "head", detect.Pressure, 80)
			s.log("01:00", "FV3", "work", hour)
			row.play(s)
			s.note(s.Advance(at("01:59")))
			assert.Empty(t, s.rings())
			s.note(s.Advance(at("03:00")))
			notices := s.Notices()
			if row.answers == nil {
				assert.Empty(t, notices)
				return
			}
			require.Len(t, notices, 1)
			m := notices[0].Message
			assert.Equal(t, [2]string{"board", string(KindQuestion)}, [2]string{notices[0].Webhook, string(m.Kind)})
			assert.Equal(t, at("02:00"), m.Time)
			assert.Equal(t, row.answers, m.Answers)
			assert.Equal(t, "FV3: hands are off, what was done?", m.Summary)
			assert.Contains(t, Words{}.Text(m), "Log it: "+strings.Join(row.answers, ", "))
			assert.Empty(t, s.annunciator.state.Hands)
		})
	}
}

func TestLongerHandsAreAskedOnceAtTheEnd(t *testing.T) {
	s := asking()
	s.log("01:00", "FV3", "work", map[string]float64{"for": 1})
	s.log("01:30", "FV3", "work", map[string]float64{"for": 2})
	s.note(s.Advance(at("03:29")))
	assert.Empty(t, s.rings())
	s.note(s.Advance(at("05:00")))
	assert.Equal(t, []string{"03:30 board question"}, s.rings())
	s.log("06:00", "FV3", "work", map[string]float64{"for": -1})
	s.note(s.Advance(at("08:00")))
	assert.Empty(t, s.rings(), "logged when it was over already")
}
