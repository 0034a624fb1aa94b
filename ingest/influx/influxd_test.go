package influx

import (
	"context"
	"fmt"
	"log/slog"
	"testing"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/journal"
	"spile/ingest/servertest"
)

// toInfluxd are the options for a real server.
func toInfluxd(j *journal.Journal, s *servertest.InfluxServer) Options {
	o := hasty(j, s.URL)
	o.Org, o.Bucket, o.Token = s.Org, s.Bucket, s.Token
	return o
}

// stored reads every point back by Flux.
func stored(t *testing.T, s *servertest.InfluxServer) map[point]float64 {
	t.Helper()
	client := influxdb2.NewClient(s.URL, s.Token)
	defer client.Close()
	rows, err := client.QueryAPI(s.Org).Query(t.Context(), fmt.Sprintf(`from(bucket: %q) |> range(start: 0)`, s.Bucket))
	require.NoError(t, err)
	points := map[point]float64{}
	for rows.Next() {
		r := rows.Record()
		value, isFloat := r.Value().(float64)
		if !isFloat || r.Measurement() != measurement {
			continue // a point that a test wrote to be in the way
		}
		word := func(key string) string { return fmt.Sprint(r.ValueByKey(key)) }
		p := point{site: word("site"), tank: word("tank"), probe: word("probe"), field: r.Field(), ms: r.Time().UnixMilli()}
		_, twice := points[p]
		assert.False(t, twice, "doubled: %+v", p)
		points[p] = value
	}
	require.NoError(t, rows.Err())
	return points
}

// journaled gives the points that the journal's readings ought to be.
func journaled(t *testing.T, j *journal.Journal) map[point]float64 {
	t.Helper()
	entries, err := j.After(t.Context(), 0, 1<<20)
	require.NoError(t, err)
	points := map[point]float64{}
	for _, e := range entries {
		if r := e.Reading; r != nil {
			p := point{site: "north-quay", tank: r.Tank, probe: r.Probe, field: string(r.Quantity), ms: r.Time.UnixMilli()}
			points[p] = r.Value
		}
	}
	return points
}

func TestOutageLosesAndDoublesNothing(t *testing.T) {
	s := servertest.Influx(t)
	j, err := journal.Open(t.Context(), journal.Options{Dir: t.TempDir()})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, j.Close()) })
	f := begin(t, toInfluxd(j, s))
	hear(t, j, 0, 7000)
	caughtUp(t, f)

	// Readings go on while the store is away, and so does hearing them.
	s.Kill()
	hear(t, j, 7000, 6000)
	require.Eventually(t, func() bool { return f.State().Problem != "" }, time.Minute, time.Millisecond)
	lag, err := f.lag(t.Context())
	require.NoError(t, err)
	assert.InDelta(t, 6001, lag, 0, "the readings and a log event wait")

	// A restart of the forwarder in the midst of it forgets nothing.
	halt(t, f)
	f = begin(t, toInfluxd(j, s))
	hear(t, j, 13000, 10)
	s.Start()
	caughtUp(t, f)
	hear(t, j, 13010, 10)
	caughtUp(t, f)
	assert.Equal(t, journaled(t, j), stored(t, s))
}

func TestRepeatedLinesAreOnePoint(t *testing.T) {
	s, j := servertest.Influx(t), openJournal(t)
	hear(t, j, 0, 50)
	f := begin(t, toInfluxd(j, s))
	caughtUp(t, f)
	halt(t, f)
	// As after a crash between the store's answer and the position.
	require.NoError(t, j.SetPosition(t.Context(), Reader, 20))
	caughtUp(t, begin(t, toInfluxd(j, s)))
	assert.Equal(t, journaled(t, j), stored(t, s))
}

func TestInfluxdRefusesAnotherFieldType(t *testing.T) {
	s, j := servertest.Influx(t), openJournal(t)
	client := influxdb2.NewClient(s.URL, s.Token)
	defer client.Close()
	when := at("2026-03-02T00:00:00Z").UnixNano()
	require.NoError(t, client.WriteAPIBlocking(s.Org, s.Bucket).
		WriteRecord(context.Background(), fmt.Sprintf(`cellar,tank=other pressure="high" %d`, when)))
	hear(t, j, 0, 90)
	caughtUp(t, begin(t, toInfluxd(j, s)))

	aside, err := j.Aside(t.Context(), Reader, 100)
	require.NoError(t, err)
	assert.Len(t, aside, 30)
	for _, a := range aside {
		assert.Contains(t, a.Problem, "field type conflict")
	}
	assert.Len(t, stored(t, s), 60)
}

func TestInfluxdNamesWhatToMend(t *testing.T) {
	s := servertest.Influx(t)
	tests := map[string]struct {
		spoil func(*Options)
		want  string
	}{
		"token":  {func(o *Options) { o.Token = "brewer:wrong" }, "refuses the token (401)"},
		"bucket": {func(o *Options) { o.Bucket = "none/raw" }, `knows no bucket "none/raw"`},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			j := openJournal(t)
			hear(t, j, 0, 3)
			o := toInfluxd(j, s)
			test.spoil(&o)
			f := begin(t, o)
			require.Eventually(t, func() bool { return f.State().Problem != "" }, time.Minute, time.Millisecond)
			assert.Contains(t, f.State().Problem, test.want)
			assert.Zero(t, f.State().Position)
		})
	}
}

func TestInfluxdDropsWhatIsOlderThanTheBucketKeeps(t *testing.T) {
	s, j, log := servertest.Influx(t), openJournal(t), &logbook{}
	s.Run(`ALTER RETENTION POLICY raw ON cellar DURATION 2h SHARD DURATION 1h`)
	hear(t, j, 0, 10) // in March
	o := toInfluxd(j, s)
	o.Log = slog.New(slog.NewTextHandler(log, nil))
	f := begin(t, o)
	caughtUp(t, f)
	halt(t, f)
	assert.Contains(t, log.String(), "older than its bucket keeps")
	assert.Empty(t, stored(t, s))
}
