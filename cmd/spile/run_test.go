package main

import (
	"bytes"
	"net"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What only a start finds out names the line of the config all the same.
func TestAStartThatFailsNamesTheLine(t *testing.T) {
	var listen net.ListenConfig
	taken, err := listen.Listen(t.Context(), "tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { require.NoError(t, taken.Close()) }()
	at := taken.Addr().String()
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	run := func(format string, args ...any) (path, said string) {
		var out bytes.Buffer
		path = configFile(t, format, args...)
		assert.Equal(t, exitFailed, execute(t.Context(), []string{"run", "--config", path}, streams{out: &out, err: &out}))
		return path, out.String()
	}
	path, said := run("http:\n  listen: 127.0.0.1:0\nmqtt:\n  listen: %s\n", at)
	assert.Contains(t, said, "spile: "+path+":4: start broker: mqtt.listen: "+at+
		": another program listens there: if it is a broker, name it by mqtt.broker and leave listen out; else give another port (")
	path, said = run("http: {listen: '%s'}\nmqtt: {listen: 127.0.0.1:0}\n", at)
	assert.Contains(t, said, "spile: "+path+":1: start pages: http.listen: "+at+": another program listens there: give another port")
	path, said = run("http: {listen: '192.0.2.1:8420', anonymous: true}\nmqtt: {listen: 127.0.0.1:0}\n")
	assert.Contains(t, said, path+":1: start pages: http.listen: 192.0.2.1:8420: this machine has no such address: write one of its own")
	path, said = run("site: a\ndata: %s/below\n", file)
	assert.Contains(t, said, path+":2: start journal: data: "+file+"/below: the journal cannot be written there: name a folder")
}
