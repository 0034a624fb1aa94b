package servertest

import (
	"crypto/tls"
	"crypto/x509"
	"os"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const moment = 20 * time.Second

func clientOptions(s *MosquittoServer) *mqtt.ClientOptions {
	return mqtt.NewClientOptions().AddBroker(s.URL).SetConnectRetry(false).SetAutoReconnect(false)
}

func connect(t *testing.T, o *mqtt.ClientOptions) (mqtt.Client, error) {
	t.Helper()
	c := mqtt.NewClient(o)
	token := c.Connect()
	require.True(t, token.WaitTimeout(moment), "no answer to CONNECT")
	if token.Error() == nil {
		t.Cleanup(func() { c.Disconnect(0) })
	}
	return c, token.Error()
}

func settled(t *testing.T, token mqtt.Token) {
	t.Helper()
	require.True(t, token.WaitTimeout(moment))
	require.NoError(t, token.Error())
}

func TestMosquittoKeepsARetainedMessageOverARestart(t *testing.T) {
	s := Mosquitto(t, MosquittoOptions{})
	c, err := connect(t, clientOptions(s))
	require.NoError(t, err)
	settled(t, c.Publish("cellar/FV1/hyd-1", 1, true, "1.012"))

	s.Stop()
	_, err = connect(t, clientOptions(s))
	require.Error(t, err, "a stopped broker must refuse")
	s.Start()

	c, err = connect(t, clientOptions(s))
	require.NoError(t, err)
	heard := make(chan string, 1)
	settled(t, c.Subscribe("cellar/#", 1, func(_ mqtt.Client, m mqtt.Message) { heard <- string(m.Payload()) }))
	select {
	case got := <-heard:
		assert.Equal(t, "1.012", got)
	case <-time.After(moment):
		t.Fatal("the retained message did not come")
	}
}

func TestMosquittoAsksForThePassword(t *testing.T) {
	s := Mosquitto(t, MosquittoOptions{Username: "cellar", Password: "open sesame"})
	_, err := connect(t, clientOptions(s))
	require.Error(t, err, "without a password")
	_, err = connect(t, clientOptions(s).SetUsername("cellar").SetPassword("wrong"))
	require.Error(t, err, "with a wrong one")
	_, err = connect(t, clientOptions(s).SetUsername("cellar").SetPassword("open sesame"))
	require.NoError(t, err)
}

func TestMosquittoAsksForTheClientCertificate(t *testing.T) {
	s := Mosquitto(t, MosquittoOptions{TLS: true, ClientCert: true})
	ca, err := os.ReadFile(s.TLS.CA)
	require.NoError(t, err)
	pool := x509.NewCertPool()
	require.True(t, pool.AppendCertsFromPEM(ca))

	_, err = connect(t, clientOptions(s).SetTLSConfig(&tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}))
	require.Error(t, err, "without a certificate")

	own, err := tls.LoadX509KeyPair(s.TLS.ClientCert, s.TLS.ClientKey)
	require.NoError(t, err)
	_, err = connect(t, clientOptions(s).SetTLSConfig(&tls.Config{
		RootCAs: pool, Certificates: []tls.Certificate{own}, MinVersion: tls.VersionTLS12,
	}))
	require.NoError(t, err)
}

func TestMosquittoTakesFurtherSettings(t *testing.T) {
	s := Mosquitto(t, MosquittoOptions{Settings: []string{"max_packet_size 100"}})
	_, err := connect(t, clientOptions(s))
	require.NoError(t, err)
	_, err = connect(t, clientOptions(s).SetUsername(strings.Repeat("long", 50)))
	require.Error(t, err, "a CONNECT of more than 100 bytes")
}
