package servertest

import (
	"context"
	"testing"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const allPoints = `from(bucket: "cellar/raw") |> range(start: 0)`

func points(t *testing.T, s *InfluxServer, token string) (int, error) {
	t.Helper()
	client := influxdb2.NewClient(s.URL, token)
	defer client.Close()
	rows, err := client.QueryAPI(s.Org).Query(context.Background(), allPoints)
	if err != nil {
		return 0, err
	}
	n := 0
	for rows.Next() {
		n++
	}
	return n, rows.Err()
}

func TestInfluxKeepsPointsOverAKill(t *testing.T) {
	s := Influx(t)
	client := influxdb2.NewClient(s.URL, s.Token)
	defer client.Close()
	write := client.WriteAPIBlocking(s.Org, s.Bucket)
	require.NoError(t, write.WriteRecord(context.Background(), "cellar,tank=FV1 gravity=1.012 1767225600000000000"))

	s.Kill()
	_, err := points(t, s, s.Token)
	require.Error(t, err, "a dead store must not answer")
	s.Start()

	n, err := points(t, s, s.Token)
	require.NoError(t, err)
	assert.Equal(t, 1, n)
}

func TestInfluxAsksForTheToken(t *testing.T) {
	s := Influx(t)
	_, err := points(t, s, "brewer:wrong")
	require.Error(t, err)
}
