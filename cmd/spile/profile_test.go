package main

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

func TestProfilesAreForThisMachineAlone(t *testing.T) {
	path := configFile(t, "data: ./data\nhttp: {listen: 127.0.0.1:0}\nmqtt: {listen: 127.0.0.1:0}\n")
	at := servertest.FreeAddress(t)
	p := spawn(t, "run", "--config", path, "--pprof", at)
	answer, err := http.Get("http://" + at + "/debug/pprof/goroutine?debug=1")
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	p.Stop()

	_, err = profiles(t.Context(), "0.0.0.0:0")
	require.ErrorContains(t, err, "other machines would reach it")
}
