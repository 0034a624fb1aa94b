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

	require.Len(t, view.Air, 1)
	assert.Equal(t, Air{detect.Latest{Value: 100.9, Time: at("02:00"), Probe: "baro-1"}, "yard"}, view.Air[0])

	named := barometers(Options{Tanks: map[string]detect.Settings{"yard": {}}}, "02:10").View()
	assert.Len(t, named.Tanks, 2, "what the config names is a tank")
}

func TestABarometerThatIsPublishedUnderAnotherNameIsOne(t *testing.T) {
	w := barometers(Options{}, "02:10")
	w.Take(detect.Reading{Tank: "FV3", Probe: "baro-1", Quantity: detect.Pressure, Value: 100.4, Time: at("02:12"), Arrived: at("02:12")})
	require.Len(t, w.View().Air, 1)
	assert.Equal(t, "FV3", w.View().Air[0].Tank)
}

func TestTheAirIsSaidAndAskedAbout(t *testing.T) {
	say := func(kPa float64, display detect.Display) string {
		return Words{Display: display}.Air(Air{detect.Latest{Value: kPa, Time: at("02:00"), Probe: "baro-1"}, "yard"}, at("02:03"))
	}
	assert.Equal(t, "Air outside 100.9 kPa (14.6 psi), baro-1, 3 min ago", say(100.9, detect.Display{}))
	assert.Equal(t, "Air outside 14.6 psi (100.9 kPa), baro-1, 3 min ago", say(100.9, detect.Display{Pressure: "psi"}))
	assert.Equal(t, "baro-1 says 0.4 kPa (0.1 psi), 3 min ago, which is no pressure of the air: is it an absolute one?", say(0.4, detect.Display{}))
	assert.Contains(t, say(1013, detect.Display{}), "which is no pressure of the air: is its unit right?")
}
