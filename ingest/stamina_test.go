package ingest

import (
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestTheNewestBatteryAndSignalOfAProbeCount(t *testing.T) {
	reg, clock := prometheus.NewRegistry(), newHand(morning)
	in, _ := intakeOnDisk(t, IntakeOptions{Registerer: reg, Clock: clock.now})
	for _, payload := range []string{
		`{"time":"2026-03-02T01:10:00Z","gravity":1.0118,"battery":87,"signal":-71}`,
		`{"time":"2026-03-02T01:12:00Z","gravity":1.0118,"battery":86}`,
		`{"time":"2026-03-02T01:00:00Z","gravity":1.0119,"battery":99,"signal":-40}`, // of a backlog
		`{"time":"2026-03-02T01:13:00Z","gravity":1.0118,"battery":null}`,
		`{"time":"2026-03-02T01:14:00Z","battery":3,"signal":-99}`, // beside no reading
		`{"time":"2026-03-02T01:15:00Z","gravity":7,"battery":3}`,  // beside one that is refused
	} {
		require.NoError(t, in.Hear(t.Context(), Message{Topic: "cellar/FV3/hyd-1", Payload: []byte(payload)}))
	}
	stop(t, in)
	require.NoError(t, testutil.GatherAndCompare(reg, strings.NewReader(`
# HELP spile_probe_battery_ratio Charge of a probe's battery as the probe last sent it beside a reading; none since the start: no series.
# TYPE spile_probe_battery_ratio gauge
spile_probe_battery_ratio{probe="hyd-1",tank="FV3"} 0.86
# HELP spile_probe_signal_dbm Strength of a probe's signal as the probe last sent it beside a reading; none since the start: no series.
# TYPE spile_probe_signal_dbm gauge
spile_probe_signal_dbm{probe="hyd-1",tank="FV3"} -71
`), "spile_probe_battery_ratio", "spile_probe_signal_dbm"))
	charge, strength := 0.86, -71.0
	assert.Equal(t, Stamina{Battery: &charge, Signal: &strength}, in.Stamina("FV3", "hyd-1"), "the signal stands until it is said anew")
	assert.Equal(t, Stamina{}, in.Stamina("FV4", "hyd-1"))
}

func TestAnAbsurdBatteryCostsNoReading(t *testing.T) {
	d, err := NewDecoder(DecoderOptions{})
	require.NoError(t, err)
	for _, said := range []string{
		`"battery":101`, `"battery":3.91`, `"battery":-1`, `"battery":"full"`, `"battery":{"value":3.7,"unit":"V"}`, `"battery":1e999`,
		`"signal":71`, `"signal":-1000`,
	} {
		out := d.Decode(Message{Topic: "cellar/FV3/hyd-1", Payload: []byte(`{"gravity":1.0118,` + said + `}`)}, morning)
		assert.Empty(t, out.Refusals, said)
		assert.Len(t, out.Readings, 1, "the reading stands")
		assert.Equal(t, Stamina{}, out.stamina, "what is not understood is left out")
	}
}

func TestBatteryAndSignalOfForeignJSON(t *testing.T) {
	s := Source{
		Topic: "plant/{tank}/{probe}", Fields: map[detect.Quantity]Field{detect.Gravity: {At: "/g"}},
		Battery: "/own/charge", Signal: "/own/rx",
	}
	d, err := NewDecoder(DecoderOptions{Sources: []Source{s}})
	require.NoError(t, err)
	decode := func(payload string) Decoded {
		return d.Decode(Message{Topic: "plant/FV3/hyd-1", Payload: []byte(payload)}, morning)
	}
	out := decode(`{"g":1.0118,"own":{"charge":87,"rx":-71.5}}`)
	require.Empty(t, out.Refusals)
	require.NotNil(t, out.stamina.Battery)
	require.NotNil(t, out.stamina.Signal)
	assert.Equal(t, [2]float64{0.87, -71.5}, [2]float64{*out.stamina.Battery, *out.stamina.Signal})
	out = decode(`{"g":1.0118,"own":{"charge":null}}`)
	assert.Empty(t, out.Refusals)
	assert.Equal(t, Stamina{}, out.stamina)
	out = decode(`{"g":1.0118,"own":{"charge":3.7}}`)
	assert.Empty(t, out.Refusals)
	assert.Len(t, out.Readings, 1)

	s.Battery = "charge"
	require.ErrorContains(t, CheckSource(s), "battery: ")
	require.ErrorContains(t, CheckSource(Source{Topic: s.Topic, Signal: "/rx"}), "signal without a field")
}
