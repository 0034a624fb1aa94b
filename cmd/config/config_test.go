package config_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v4"

	"spile/alert"
	"spile/alert/standby"
	"spile/cmd/config"
	"spile/detect"
	"spile/ingest"
)

// whole uses every key there is.
const whole = `site: north-quay
timezone: Europe/Lisbon
data: ./spile-data
display: {gravity: SG, temperature: degF, pressure: psi}
atmosphere: {altitude: 100 ft}
http: {listen: 0.0.0.0:8420, token_file: token, public: https://cellar.example/}
mqtt:
  broker: mqtts://broker.lan:8883
  username: cellar
  password_file: password
  ca_file: ca.pem
  cert_file: ca.pem
  key_file: own-key.pem
  client_id: spile-north
influx: {url: "http://127.0.0.1:8086", org: brewery, bucket: cellar, token_file: token}
sources:
  - topic: plant/{tank}/dens/{probe}
    fields:
      gravity: {at: /d/0/val, unit: degP}
      time:    {at: /ts, unit: ms}
  - {topic: float/7, tank: FV7, probe: hyd-7}
tanks:
  FV3: {beer: 20 hL, headspace: 2 hL, relief: 15 psi, sealed: true}
  FV.4: {gas-group: left}
probes:
  head-3: {at: head, offset: {pressure: -0.4 kPa}}
  hyd-1: {at: top, calibration: 20 degC, offset: {gravity: -0.0012 SG, temperature: 0.3 degC}}
alarms:
  refermentation: {false_calls: 0.1 per tank-year, wake: near}
  cooling-plant: {off_delay: 20m}
  crash-drift: {above: 1.8 degF, below: 1.5 degC, on_delay: 20m, off_delay: 90 s}
heartbeat: {url: "https://watch.example/abc", every: 5m}
retention: {raw: 60 days, size: 4 GB}
webhooks:
  - name: phone
    url: https://push.example/knock
    secret_file: secret
    priority: high
    hours: 18:00-07:00
    days: mon-fri, sun
    repeat: 15m
    then: owner
    after: 30m
    report: 07:00
    timeout: 10s
    proxy: http://proxy.lan:3128
    secrets: {key: {file: token}}
    headers: {X-Title: "{{.Headline}}", X-Key: '{{secret "key"}}'}
    content_type: text/plain
    method: PUT
    body: |
      {{.Text}}
  - {name: owner, url_file: address, priority: critical, ca_file: ca.pem}
`

// signing is a secret of the length that the specification asks for.
const signing = "whsec_MDEyMzQ1Njc4OTAxMjM0NTY3ODkwMTIz"

// certificate is one in PEM form, with its key.
func certificate(t testing.TB) (cert, key string) {
	server := httptest.NewTLSServer(nil)
	defer server.Close()
	return string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: server.Certificate().Raw})), private(t, server.TLS.Certificates[0].PrivateKey)
}

// private is a key in PEM form.
func private(t testing.TB, key any) string {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	return string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}))
}

// folder holds the files that configurations name.
func folder(t testing.TB) string {
	dir := t.TempDir()
	cert, key := certificate(t)
	other, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	for name, body := range map[string]string{
		"token": "t0ken\n", "password": "passw0rd", "secret": signing, "address": "https://push.example/owner-k3y\n",
		"ca.pem": cert, "own-key.pem": key, "other-key.pem": private(t, other), "cert.pem": "x", "key.pem": "x", "empty": " \n",
	} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(body), 0o600))
	}
	return dir
}

func load(t testing.TB, text string) (config.Config, error) {
	dir := folder(t)
	path := filepath.Join(dir, "spile.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	c, err := config.Load(path)
	if err != nil {
		err = errors.New(strings.ReplaceAll(err.Error(), dir+string(filepath.Separator), ""))
	}
	return c, err
}

func pointer[T any](v T) *T { return &v }

func TestEveryKey(t *testing.T) {
	c, err := load(t, whole)
	require.NoError(t, err)
	dir := filepath.Dir(c.Path)

	assert.Equal(t, "north-quay", c.Site)
	assert.Equal(t, "Europe/Lisbon", c.Zone.String())
	assert.Equal(t, filepath.Join(dir, "spile-data"), c.Data)
	assert.Equal(t, detect.Display{Gravity: "SG", Temperature: "degF", Pressure: "psi"}, c.Display)
	assert.InDelta(t, 30.48, *c.AltitudeM, 1e-9)
	assert.InDelta(t, 100.96, c.AtmosphereKPa, 0.01)
	assert.Equal(t, config.HTTP{Listen: "0.0.0.0:8420", Token: "t0ken", Public: "https://cellar.example/"}, c.HTTP)
	assert.Equal(t, config.MQTT{
		Broker: "mqtts://broker.lan:8883", Username: "cellar", Password: "passw0rd", ClientID: "spile-north",
		CAFile: filepath.Join(dir, "ca.pem"), CertFile: filepath.Join(dir, "ca.pem"), KeyFile: filepath.Join(dir, "own-key.pem"),
	}, c.MQTT)
	assert.Equal(t, &config.Influx{URL: "http://127.0.0.1:8086", Org: "brewery", Bucket: "cellar", Token: "t0ken"}, c.Influx)
	assert.Equal(t, []ingest.Source{
		{Topic: "plant/{tank}/dens/{probe}", Time: "/ts", TimeUnit: "ms", Fields: map[detect.Quantity]ingest.Field{detect.Gravity: {At: "/d/0/val", Unit: "degP"}}},
		{Topic: "float/7", Tank: "FV7", Probe: "hyd-7"},
	}, c.Sources)
	assert.InDelta(t, 103.42, c.Tanks["FV3"].ReliefKPa, 0.01)
	assert.Equal(t, config.Tank{BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: c.Tanks["FV3"].ReliefKPa, Sealed: true}, c.Tanks["FV3"])
	assert.Equal(t, config.Tank{GasGroup: "left"}, c.Tanks["FV.4"])
	assert.Equal(t, config.Probe{At: detect.Head, Offset: map[detect.Quantity]float64{detect.Pressure: -0.4}}, c.Probes["head-3"])
	assert.Equal(t, config.Probe{At: detect.Top, Calibration: pointer(20.0),
		Offset: map[detect.Quantity]float64{detect.Gravity: -0.0012, detect.Temperature: 0.3}}, c.Probes["hyd-1"])
	assert.InDelta(t, 1.0, *c.Alarms[detect.CrashDrift].Above, 1e-9)
	assert.Equal(t, 20*time.Minute, *c.Alarms[detect.CrashDrift].OnDelay)
	assert.Equal(t, 90*time.Second, *c.Alarms[detect.CrashDrift].OffDelay)
	assert.Equal(t, config.AlarmRule{FalseCalls: pointer(0.1), Wake: "near"}, c.Alarms[detect.Refermentation])
	assert.Equal(t, &config.Heartbeat{URL: "https://watch.example/abc", Every: 5 * time.Minute, Road: config.Road{Timeout: 15 * time.Second}}, c.Heartbeat)
	assert.Equal(t, config.Retention{Raw: 60 * 24 * time.Hour, Size: 4_000_000_000}, c.Retention)
	require.Len(t, c.Webhooks, 2)
	assert.Equal(t, config.Webhook{
		Name: "phone", URL: "https://push.example/knock", Signing: signing, Priority: detect.High,
		Hours: &config.Hours{From: 18 * time.Hour, To: 7 * time.Hour}, Repeat: 15 * time.Minute, Then: "owner", After: 30 * time.Minute, Report: pointer(7 * time.Hour),
		Days: []time.Weekday{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday, time.Sunday},
		Road: config.Road{Timeout: 10 * time.Second, Proxy: c.Webhooks[0].Road.Proxy}, Secrets: map[string]config.Secret{"key": "t0ken"}, Headers: map[string]string{"X-Title": "{{.Headline}}", "X-Key": `{{secret "key"}}`}, ContentType: "text/plain", Method: "PUT", Body: "{{.Text}}\n",
	}, c.Webhooks[0])
	assert.Equal(t, "http://proxy.lan:3128", c.Webhooks[0].Road.Proxy.String())
	assert.Equal(t, config.Secret("https://push.example/owner-k3y"), c.Webhooks[1].URL)
	assert.NotNil(t, c.Webhooks[1].Target().CAs)
	assert.Equal(t, c.Path+":31", c.Where("alarms.crash-drift"))
}

func TestDefaults(t *testing.T) {
	for _, text := range []string{"", "# nothing\n", "tanks:\nprobes:\nwebhooks:\n"} {
		c, err := load(t, text)
		require.NoError(t, err)
		want := config.Default()
		assert.Equal(t, want.HTTP, c.HTTP)
		assert.Equal(t, want.MQTT, c.MQTT)
		assert.Empty(t, c.Tanks)
		assert.Nil(t, c.Influx)
	}
	assert.Equal(t, "127.0.0.1:1883", config.Default().MQTT.Listen)
	assert.Equal(t, "127.0.0.1:8420", config.Default().HTTP.Listen)
}

func TestSecretsAreNotShown(t *testing.T) {
	c, err := load(t, whole)
	require.NoError(t, err)
	var out strings.Builder
	require.NoError(t, c.Print(&out))
	slog.New(slog.NewTextHandler(&out, nil)).Info("x", "secret", c.HTTP.Token, "hook", c.Webhooks[0].URL)
	body, err := json.Marshal(c)
	require.NoError(t, err)
	dump, err := yaml.Marshal(c.HTTP)
	require.NoError(t, err)
	shown := out.String() + string(body) + string(dump) + fmt.Sprintf("%v %+v %#v %s %q", c, c.HTTP, c.HTTP, c.HTTP.Token, c.HTTP.Token)
	for _, secret := range []string{"t0ken", "passw0rd", "whsec", "MDEyMzQ1", "k3y", "knock", "watch.example"} {
		assert.NotContains(t, shown, secret)
	}
	assert.Equal(t, "t0ken", c.HTTP.Token.Reveal())
	assert.Empty(t, config.Secret("").String())
}

func TestPrintSaysWhatIsInForce(t *testing.T) {
	c, err := load(t, whole)
	require.NoError(t, err)
	var out strings.Builder
	require.NoError(t, c.Print(&out))
	for _, want := range []string{
		"beer 20.0 hL (17.0 bbl), head space 2.0 hL (1.7 bbl), relief 103.4 kPa (15.0 psi), closed at the start", "relief not given, gas group left",
		"at top, calibrated at 20.0 degC (68.0 degF), gravity offset -0.0012 SG, temperature offset 0.3 degC (0.5 degF)", "pressure offset -0.4 kPa (-0.1 psi)",
		"above 1.0 degC (1.8 degF), below 1.5 degC (2.7 degF), on-delay 20m, off-delay 1m30s", "0.1 false calls per tank-year, wakes while relief or a packaging run is near, else told by day",
		`gravity at "/d/0/val" in degP, time at "/ts", in ms`, "readings kept for 60 days, at most 4.0 GB",
		"18:00-07:00, mon, tue, wed, thu, fri, sun, again every 15m until acknowledged, then owner after 30m, morning report at 07:00, secret key (given, not shown), its own body, by proxy http://proxy.lan:3128, waits 10s for an answer", "101.0 kPa",
	} {
		assert.Contains(t, out.String(), want)
	}
	out.Reset()
	require.NoError(t, config.Default().Print(&out))
	assert.Contains(t, out.String(), "embedded broker on 127.0.0.1:1883, anybody who reaches the port may publish")
}

func TestPolicy(t *testing.T) {
	c, err := load(t, whole)
	require.NoError(t, err)
	p := c.Policy()
	assert.True(t, p.Public)
	assert.Equal(t, alert.WakeNear, p.Wake)
	require.Len(t, p.Webhooks, 2)
	assert.Equal(t, alert.Webhook{
		Name: "phone", Priority: detect.High, Hours: alert.Hours{From: 18 * time.Hour, To: 7 * time.Hour}, Days: c.Webhooks[0].Days,
		Repeat: 15 * time.Minute, Then: "owner", After: 30 * time.Minute, Report: pointer(7 * time.Hour),
	}, p.Webhooks[0])
	assert.Equal(t, alert.Webhook{Name: "owner", Priority: detect.Critical}, p.Webhooks[1])
	c.HTTP.Token = ""
	assert.False(t, c.Policy().Public, "without a token there are no links to answer by")
}

func TestSettingsAndDecoder(t *testing.T) {
	c, err := load(t, whole)
	require.NoError(t, err)
	s := c.Settings("FV3")
	assert.Equal(t, 2000.0, s.BeerLiters)
	assert.Equal(t, 1.5, s.DriftBelow)
	assert.Equal(t, 0.1, s.FalseCallsPerTankYear)
	assert.Equal(t, map[string]detect.Place{"head-3": detect.Head, "hyd-1": detect.Top}, s.At)
	assert.Equal(t, c.AtmosphereKPa, s.AtmosphereKPa)
	assert.Zero(t, c.Settings("FV9").ReliefKPa, "a tank nobody named has the cellar's settings only")
	assert.Equal(t, c.Zone, c.Settings("FV9").Zone)
	_, err = ingest.NewDecoder(c.Decoder())
	require.NoError(t, err)
	assert.Equal(t, -0.0012, c.Decoder().Probes["hyd-1"].Offset[detect.Gravity])
}

func TestAliasesAreFollowed(t *testing.T) {
	c, err := load(t, "tanks:\n  FV1: &t {relief: 1 bar}\n  FV2: *t\n")
	require.NoError(t, err)
	assert.Equal(t, c.Tanks["FV1"], c.Tanks["FV2"])
}

func TestASecretMayComeFromTheServiceManager(t *testing.T) {
	text := []byte("http: {token_file: \"credential:token\"}\n")
	t.Setenv("CREDENTIALS_DIRECTORY", "")
	_, err := config.Parse("spile.yaml", text)
	require.ErrorContains(t, err, "spile.yaml:1: http.token_file: nothing has handed over the credential token: "+
		"let systemd start spile, with LoadCredential=token:FILE in its unit")
	dir := t.TempDir()
	t.Setenv("CREDENTIALS_DIRECTORY", dir)
	_, err = config.Parse("spile.yaml", text)
	require.ErrorContains(t, err, "there is no file")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "token"), []byte("t0ken\n"), 0o400))
	c, err := config.Parse("spile.yaml", text)
	require.NoError(t, err)
	assert.Equal(t, "t0ken", c.HTTP.Token.Reveal())
	_, err = config.Parse("spile.yaml", []byte("http: {token_file: \"credential:../token\"}\n"))
	require.ErrorContains(t, err, "a credential is called")
}

func TestTwoSpilesFindEachOther(t *testing.T) {
	c, err := config.Parse("spile.yaml", []byte("mqtt: {broker: mqtt://broker.lan}\nstandby: {role: second, after: 30s}\n"))
	require.NoError(t, err)
	assert.Equal(t, &config.Standby{Role: standby.Second, After: 30 * time.Second}, c.Standby)
	assert.Contains(t, c.Warnings(), "standby without a heartbeat: when this spile is dead while the other speaks, nobody says so")
	assert.Equal(t, "spile-second", c.MQTT.ClientID, "the first is spile, and a broker keeps one of each name")
	for text, want := range map[string]string{
		"standby: {role: second}":                                     "standby needs mqtt.broker",
		"mqtt: {broker: mqtt://b}\nstandby: {role: third}":            "write first, for the one that speaks whenever it can, or second",
		"mqtt: {broker: mqtt://b}\nstandby: {after: 30s}":             "standby",
		"mqtt: {broker: mqtt://b}\nstandby: {role: first, after: 1s}": "15s",
	} {
		_, err := config.Parse("spile.yaml", []byte(text))
		require.ErrorContains(t, err, want, text)
	}
}
