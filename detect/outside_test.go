package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func yard(t *testing.T) *bench {
	t.Helper()
	return newBench(t, Settings{At: map[string]Place{"baro-1": Outside, "baro-2": Outside}})
}

// A barometer is published under some name, and so is the log of a tank that no probe was put into yet.
func TestWhatProbesOutsideAloneSpeakForIsNoTank(t *testing.T) {
	b := yard(t)
	require.False(t, b.tank.Status().Outside, "nobody knows yet what it is")
	b.read("baro-1", Pressure, 100.9)
	b.read("baro-1", Temperature, 9)
	require.True(t, b.tank.Status().Outside)
	assert.True(t, b.tank.Status().Probes[0].Outside)
	b.log("probe", nil, map[string]string{"id": "baro-1", "state": "out"})
	b.restart()
	assert.True(t, b.tank.Status().Outside, "a barometer that is taken away makes no tank of it")

	also := yard(t)
	also.read("baro-1", Pressure, 100.9)
	also.read("head-3", Pressure, 80)
	assert.False(t, also.tank.Status().Outside, "another probe speaks there")
	assert.False(t, also.tank.Status().Probes[1].Outside)

	logged := yard(t)
	logged.log("pitch", nil, nil)
	logged.read("baro-1", Pressure, 100.9)
	logged.restart()
	assert.False(t, logged.tank.Status().Outside, "there is beer")
}

// It hangs in no steel, and what it misses is not a tank's.
func TestTheSilenceOfABarometerIsToldInItsOwnWords(t *testing.T) {
	b := yard(t)
	b.hold("baro-1", Pressure, 100.9, 10*time.Minute, 2*time.Hour)
	b.pass(2 * time.Hour)
	require.Equal(t, "+", b.of(ProbeSilent))
	f := b.last(ProbeSilent)
	assert.Regexp(t, `^barometer baro-1 \(FV3\) has said nothing since Mon \d\d:\d\d; the tanks are watched on, without it$`, f.Summary)
	assert.True(t, f.Evidence.Outside)
	b.read("baro-1", Pressure, 100.9)
	require.Equal(t, "+-", b.of(ProbeSilent))
	assert.Equal(t, "barometer baro-1 (FV3) is heard again", b.last(ProbeSilent).Summary)
	b.pass(2 * time.Hour)
	b.log("probe", nil, map[string]string{"id": "baro-1", "state": "out"})
	assert.Equal(t, "barometer baro-1 (FV3) was taken away (log: probe)", b.last(ProbeSilent).Summary)
	assert.True(t, b.last(ProbeSilent).Evidence.Outside)
}

func TestTheAirIsKeptAsItWasSaid(t *testing.T) {
	b := yard(t)
	b.read("baro-2", Pressure, 0.4)
	b.pass(time.Minute)
	b.read("baro-1", Pressure, 100.9)
	b.pass(time.Minute)
	b.read("baro-1", Temperature, 9)
	b.read("baro-1", Pressure, 100.8)
	air := []Latest{{Value: 100.8, Time: b.now, Probe: "baro-1"}, {Value: 0.4, Time: b.now.Add(-2 * time.Minute), Probe: "baro-2"}}
	require.Equal(t, air, b.tank.Status().Air)
	b.restart()
	require.Equal(t, air, b.tank.Status().Air)
	assert.True(t, NotOfAir(air[1].Value))
	assert.False(t, NotOfAir(air[0].Value))
	assert.True(t, NotOfAir(1013))
	b.log("probe", nil, map[string]string{"id": "baro-2", "state": "out"})
	b.read("baro-2", Pressure, 0.3)
	assert.Equal(t, air[:1], b.tank.Status().Air)
}
