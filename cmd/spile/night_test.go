package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"flag"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"spile/detect/cellarsim"
	"spile/ingest"
)

// recordNight writes the recorded night anew: go test ./cmd/spile -run Night -record.
var recordNight = flag.Bool("record", false, "write the recorded night anew") //nolint:gochecknoglobals // a test's flag

// nightFile is a recorded cellar: one tank that begins to ferment again, one that stays quiet.
const nightFile = "../../testdata/nights/creep.ndjson"

// nightCellar is the simulated cellar the night was recorded in. All its
// probes send the time with their readings, so that it can be played at any speed.
func nightCellar(t *testing.T) *cellarsim.Cellar {
	t.Helper()
	hour := func(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
	tank := func(name string, creep ...cellarsim.Act) cellarsim.Tank {
		u := cellarsim.Unitank(name)
		gauge := cellarsim.HeadGauge("head-" + name)
		gauge.Interval = 5 * time.Minute
		well := cellarsim.Thermowell("well-" + name)
		well.Interval, well.Shape = 10*time.Minute, cellarsim.SenML
		u.Probes = []cellarsim.Probe{cellarsim.Hydrometer("hyd-" + name), well, gauge}
		u.Script = append([]cellarsim.Act{
			{At: hour(-24), Do: cellarsim.Crash{Celsius: 14.4}},
			{At: hour(1.9), Do: cellarsim.Vent{}},
			{At: hour(2), Do: cellarsim.Hop{Grams: 9000, Lot: "C-08", Leach: 0.02}},
			{At: hour(2.1), Do: cellarsim.Seal{Air: 0.05}},
		}, creep...)
		return u
	}
	c, err := cellarsim.New(cellarsim.Plan{
		Start: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC),
		Tanks: []cellarsim.Tank{
			tank("FV3", cellarsim.Act{At: hour(26), Do: cellarsim.Creep{Plato: 0.7, Ramp: hour(14), Decay: hour(40)}}),
			tank("FV4"),
		},
		Weather: cellarsim.Weather{Sigma: 0.7},
	}, rand.New(rand.NewPCG(3, 3)))
	require.NoError(t, err)
	return c
}

// nightLength ends a few hours after the call.
const nightLength = 44 * time.Hour

func TestTheRecordedNightIsTheSimulatedOne(t *testing.T) {
	var simulated bytes.Buffer
	cellar := nightCellar(t)
	err := cellar.Run(cellar.Plan().Start.Add(nightLength), func(m cellarsim.Message) error {
		line, err := json.Marshal(struct {
			Time    time.Time       `json:"time"`
			Topic   string          `json:"topic"`
			Payload json.RawMessage `json:"payload"`
		}{m.Arrived, m.Topic, m.Payload})
		simulated.Write(append(line, '\n'))
		return err
	})
	require.NoError(t, err)
	if *recordNight {
		require.NoError(t, os.WriteFile(nightFile, simulated.Bytes(), 0o644))
	}
	recorded, err := os.ReadFile(nightFile)
	require.NoError(t, err)
	require.True(t, bytes.Equal(simulated.Bytes(), recorded), "the simulation no longer gives the recorded night; look why, then record it anew")
}

// night reads the recorded night.
func night(t *testing.T) []ingest.Message {
	t.Helper()
	file, err := os.Open(nightFile)
	require.NoError(t, err)
	defer func() { require.NoError(t, file.Close()) }()
	reader := ingest.NewCaptureReader(bufio.NewReader(file))
	var out []ingest.Message
	for {
		m, err := reader.Next()
		if err != nil {
			break
		}
		out = append(out, m)
	}
	bad, _ := reader.Bad()
	require.Zero(t, bad)
	require.NotEmpty(t, out)
	return out
}
