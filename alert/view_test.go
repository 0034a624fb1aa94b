package alert

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// barometers is a watch over FV3, where baro-1 is published under a name of its own, until a time.
func barometers(o Options, until string) *Watch {
	at3 := detect.Settings{At: map[string]detect.Place{"baro-1": detect.Outside}}
	o.Default = at3
	if o.Tanks == nil {
		o.Tanks = map[string]detect.Settings{}
	}
	o.Tanks["FV3"] = at3
	w := NewWatch(o)
	for clock, end := at("00:00"), at("02:00"); !clock.After(end); clock = clock.Add(10 * time.Minute) {
		w.Take(detect.Reading{Tank: "yard", Probe: "baro-1", Quantity: detect.Pressure, Value: 100.9, Time: clock, Arrived: clock})
	}
	w.Advance(at(until))
	return w
}

// What a barometer is published under is no tank that somebody forgot; that it fell silent is told all the same.
func TestABarometerIsNoTank(t *testing.T) {
	w := barometers(Options{}, "02:10")
	view := w.View()
	require.Len(t, view.Tanks, 1)
	assert.Equal(t, "FV3", view.Tanks[0].Tank)
	assert.True(t, view.Has("FV3"))
	assert.False(t, view.Has("yard"))

	w.Advance(at("03:30"))
	view = w.View()
	require.Len(t, view.Tanks, 1)
	require.Len(t, view.OfNoTank(), 1)
	silent := view.OfNoTank()[0]
	assert.Equal(t, detect.ProbeSilent, silent.Alarm)
	_, err := w.Acknowledge(silent.ID, "Ines", "", at("03:31"))
	require.NoError(t, err)

	named := barometers(Options{Tanks: map[string]detect.Settings{"yard": {}}}, "02:10").View()
	assert.Len(t, named.Tanks, 2, "what the config names is a tank")
}
