package main

import (
	"crypto/tls"
	"crypto/x509"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

// Pages, API and the embedded broker are served under a certificate of one's own, and a probe's user is kept to its
// tank.
func TestEverythingIsServedUnderTLS(t *testing.T) {
	files := servertest.NewTLSFiles(t)
	password := filepath.Join(t.TempDir(), "password")
	require.NoError(t, os.WriteFile(password, []byte("hop-1\n"), 0o600))
	path := configFile(t, `
data: ./data
http: {listen: 127.0.0.1:0, cert_file: %[1]q, key_file: %[2]q}
mqtt:
  listen: 127.0.0.1:0
  cert_file: %[1]q
  key_file: %[2]q
  users:
    hyd-1: {password_file: %[3]q, tanks: [FV1]}
`, files.ServerCert, files.ServerKey, password)
	spile := spawn(t, "run", "--config", path)
	require.True(t, strings.HasPrefix(spile.url, "https://"), spile.url)
	status := spawnOnce(t, "status", "--url", spile.url, "--ca-file", files.CA)
	assert.Contains(t, status, "No tank has spoken yet")

	pem, err := os.ReadFile(files.CA)
	require.NoError(t, err)
	trusted := x509.NewCertPool()
	require.True(t, trusted.AppendCertsFromPEM(pem))
	address := brokerAddress.FindStringSubmatch(spile.Said())[1]
	dial := func(scheme, user string) (mqtt.Client, error) {
		c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(scheme + "://" + address).SetClientID("hyd-1").SetUsername(user).
			SetPassword("hop-1").SetTLSConfig(&tls.Config{RootCAs: trusted, MinVersion: tls.VersionTLS12}).SetAutoReconnect(false).
			SetConnectTimeout(5 * time.Second))
		token := c.Connect()
		require.True(t, token.WaitTimeout(20*time.Second))
		return c, token.Error()
	}
	_, err = dial("mqtts", "somebody")
	require.Error(t, err)
	_, err = dial("tcp", "hyd-1")
	require.Error(t, err, "in the clear nobody is heard")
	probe, err := dial("mqtts", "hyd-1")
	require.NoError(t, err)
	token := probe.Publish("cellar/FV1/hyd-1", 1, false, `{"gravity":1.0118}`)
	require.True(t, token.WaitTimeout(10*time.Second))
	probe.Publish("cellar/FV2/hyd-1", 1, false, `{"gravity":1.0118}`)
	require.Eventually(t, func() bool { return !probe.IsConnectionOpen() }, 10*time.Second, 10*time.Millisecond, "it is sent away")
	status = spawnOnce(t, "status", "--url", spile.url, "--ca-file", files.CA)
	assert.Contains(t, status, "FV1")
	assert.NotContains(t, status, "FV2")
	spile.Stop()
}
