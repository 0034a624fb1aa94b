package detect_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestALineIsCorrectedAndNeverErased(t *testing.T) {
	at := func(minute int, name string, words map[string]string) detect.Event {
		when := noonOfLog.Add(time.Duration(minute) * time.Minute)
		return detect.Event{Tank: "FV3", Name: name, Time: when, Arrived: when, Words: words}
	}
	names := func(log []detect.Event) []string {
		var out []string
		for _, e := range detect.InForce(log) {
			out = append(out, e.Name)
		}
		return out
	}
	crash, hops := at(0, "crash", nil), at(1, "dry-hop", nil)
	assert.Equal(t, []string{"crash", "dry-hop"}, names([]detect.Event{crash, hops}))

	better := at(2, "crash", map[string]string{"corrects": crash.Line()})
	log := []detect.Event{crash, hops, better}
	assert.Equal(t, []string{"dry-hop", "crash"}, names(log))
	assert.Equal(t, map[string]bool{crash.Line(): true}, detect.Struck(log))

	strike := at(3, "strike", map[string]string{"line": hops.Line()})
	log = append(log, strike)
	assert.Equal(t, []string{"crash"}, names(log))

	undone := at(4, "strike", map[string]string{"line": strike.Line()})
	log = append(log, undone)
	assert.Equal(t, []string{"dry-hop", "crash"}, names(log), "a strike that is struck out strikes nothing")

	old, err := detect.Replaced(log, better)
	require.NoError(t, err)
	assert.Equal(t, crash, old)
	_, err = detect.Replaced(log, at(5, "strike", map[string]string{"line": "none"}))
	assert.ErrorContains(t, err, `no line "none" stands in the log of FV3`)
	_, err = detect.Replaced(log, hops)
	assert.NoError(t, err)
}

func TestALineHasOneShortName(t *testing.T) {
	a := detect.Event{Tank: "FV3", Name: "seal", Time: noonOfLog}
	b := a
	b.Tank = "FV4"
	assert.Len(t, a.Line(), 8)
	assert.NotEqual(t, a.Line(), b.Line())
	named := a
	named.ID = "form-1"
	assert.NotEqual(t, a.Line(), named.Line())
}
