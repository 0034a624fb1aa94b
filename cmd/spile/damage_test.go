package main

import (
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/ingest/journal"
)

// monthOld fills a journal with readings of some tanks and closes it.
func monthOld(t *testing.T, dir string, readings int) {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Dir: dir})
	require.NoError(t, err)
	at := time.Now().Add(-30 * 24 * time.Hour).Truncate(time.Second)
	batch := make([]journal.Entry, readings)
	for i := range batch {
		at = at.Add(time.Second)
		batch[i] = journal.Entry{Arrived: at, Reading: &detect.Reading{
			Tank: fmt.Sprintf("FV%d", i%10), Probe: "head", Quantity: detect.Pressure, Time: at, Value: 80, Raw: 80,
		}}
	}
	_, err = j.Commit(t.Context(), batch)
	require.NoError(t, err)
	require.NoError(t, j.Close())
}

// A few pages in the middle of a file that opens well are noise. spile finds out while it runs, starts anew within the
// same process, tells a person, and has kept all but what stood on those pages.
func TestADamagedJournalIsToldAndSpileGoesOn(t *testing.T) {
	const readings, pages = 30_000, 3
	url, heard := calls(t)
	path := configFile(t, `
data: ./data
http: {listen: 127.0.0.1:0}
mqtt: {listen: 127.0.0.1:0}
webhooks: [{name: phone, url: %q, priority: high}]
`, url)
	dir := filepath.Join(filepath.Dir(path), "data")
	monthOld(t, dir, readings)
	file, err := os.OpenFile(filepath.Join(dir, "journal.db"), os.O_RDWR, 0)
	require.NoError(t, err)
	info, err := file.Stat()
	require.NoError(t, err)
	noise := make([]byte, pages*4096)
	_, _ = rand.Read(noise)
	_, err = file.WriteAt(noise, info.Size()/2/4096*4096)
	require.NoError(t, err)
	require.NoError(t, file.Close())

	spile := spawn(t, "run", "--config", path)
	expect(t, spile, heard, "journal-damaged unacknowledged")
	require.FileExists(t, filepath.Join(dir, "journal-damaged-1.db"))
	spile.Stop()
	assert.Contains(t, spawnOnce(t, "check", "--config", path, "--journal"), "nothing broken")

	spile = spawn(t, "run", "--config", path)
	const rows = 170 // more than a page holds
	assert.Greater(t, len(spile.readings("")), readings-pages*rows)
	spile.Stop()
	assert.Empty(t, heard, "once")
}
