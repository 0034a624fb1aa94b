package config_test

import (
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
  cert_file: cert.pem
  key_file: key.pem
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

// certificate is one in PEM form.
func certificate(t testing.TB) string {
	server := httptest.NewTLSServer(nil)
	defer server.Close()
	return string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: server.Certificate().Raw}))
}

// folder holds the files that configurations name.
func folder(t testing.TB) string {
	dir := t.TempDir()
	for name, body := range map[string]string{
		"token": "t0ken\n", "password": "passw0rd", "secret": signing, "address": "https://push.example/owner-k3y\n",
		"ca.pem": certificate(t), "cert.pem": "x", "key.pem": "x", "empty": " \n",
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
		CAFile: filepath.Join(dir, "ca.pem"), CertFile: filepath.Join(dir, "cert.pem"), KeyFile: filepath.Join(dir, "key.pem"),
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

func TestErrorsNameLineAndMend(t *testing.T) {
	for text, want := range map[string]string{
		"site: a\ntnaks: {}":            `spile.yaml:2: unknown key "tnaks": did you mean "tanks"?`,
		"colour: red":                   `spile.yaml:1: unknown key "colour": write one of alarms, atmosphere`,
		"tanks: {FV3: {relife: 1 bar}}": `unknown key "relife" in tanks.FV3: did you mean "relief"?`,
		"site: a\nsite: b":              `spile.yaml:2: "site" is given twice, first in line 1: keep one`,
		"tanks: {FV3: {}, FV3: {}}":     `"FV3" is given twice in tanks`,
		"tanks: {FV 3: {}}":             `tanks: "FV 3": a name has 1 to 32`,
		"tanks: [FV3]":                  "tanks is a list: write keys below it",
		"sources: [{topic: 'a/{tank}/{probe}', fields: {gravity: {at: /g}, time: {unit: ms}}}]": "fields.time needs at",
		"sources: [{topic: 'a/{tank}/{probe}', fields: {gravity: {at: /g}, battery: {}}}]":      "fields.battery needs at",
		"sources: {a: b}": "sources is a mapping: write a list",
		"site: [a]":       "site is a list: write one value",
		"site:":           "site has no value: give one, or delete the line",
		"- a":             "the configuration is a list: write keys below it",
		"a: b: c":         "spile.yaml:1: this is not YAML",
		"a: {b: c":        "spile.yaml:2: this is not YAML", "a: \xff": "this is not YAML", "x: *a": "spile.yaml:1: this is not YAML",
		"site: a\n  b: c\n":                                            "spile.yaml:2: this is not YAML",
		"site: a\n---\nsite: b":                                        "a second document begins here",
		"<<: {site: a}":                                                `unknown key "<<"`,
		"? [a]\n: b":                                                   "has a key that is a list",
		"timezone: Lisbon":                                             `timezone: "Lisbon" is no time zone: write a name such as Europe/Lisbon`,
		"timezone: Local":                                              "depends on the machine",
		"tanks: {FV3: {relief: 15}}":                                   `tanks.FV3.relief: 15 kPa? write 15 psi`,
		"tanks: {FV3: {relief: 9 bar}}":                                `"9 bar": expected 20 to 400 kPa`,
		"tanks: {FV3: {relief: 20 hL}}":                                "is a volume",
		"tanks: {FV3: {beer: twenty}}":                                 "begins with no number",
		"tanks: {FV3: {sealed: yes}}":                                  `"yes": write true or false`,
		"probes: {p: {at: heda}}":                                      `probes.p.at: "heda": did you mean "head"?`,
		"probes: {p: {at: lid}}":                                       "write one of head, bottom, top, middle, cone",
		"probes: {p: {offset: {gravity: 1.2 degP}}}":                   "expected -0.02 to 0.02 SG",
		"alarms: {crash-drfit: {}}":                                    `did you mean "crash-drift"?`,
		"alarms: {leak: {above: 1 degC}}":                              `unknown key "above" in alarms.leak`,
		"alarms: {crash-drift: {above: 20 degC}}":                      "expected 0.1 to 10 degC",
		"alarms: {crash-drift: {on_delay: 20}}":                        "has no unit: write 20m",
		"alarms: {crash-drift: {on_delay: 30 days}}":                   "expected 0s to 1 days",
		"alarms: {vacuum: {on_delay: 1h}}":                             "is too long to wait while a vessel is in danger",
		"alarms: {refermentation: {false_calls: few}}":                 "such as 0.1 per tank-year",
		"alarms: {refermentation: {false_calls: 0}}":                   "expected 0.001 to 52",
		"alarms: {refermentation: {wake: by-day}}":                     `"by-day": write one of always, near`,
		"alarms: {leak: {wake: near}}":                                 `unknown key "wake" in alarms.leak`,
		"webhooks: [{name: a, url: 'https://a', report: 7}]":           `"7": write a time of day, such as 07:00`,
		"webhooks: [{name: a, url: 'https://a', report: '24:00'}]":     "write a time of day",
		"retention: {size: 4}":                                         "write a size with its unit, such as 4 GB",
		"retention: {size: 4 kB}":                                      "holds no cellar",
		"retention: {raw: 3 h}":                                        "expected 1 days to",
		"http: {listen: 8420}":                                         "write host:port",
		"http: {listen: 127.0.0.1:99999}":                              "is no port",
		"http: {listen: 0.0.0.0:8420}":                                 "lets other machines write the log: give token_file, or anonymous: true",
		"http: {listen: ':8420'}":                                      "lets other machines write the log",
		"http: {token_file: nowhere}":                                  "there is no file nowhere",
		"http: {token_file: empty}":                                    "empty is empty: write the secret into it",
		"http: {public: cellar.example}":                               "write one such as https://host",
		"http: {public: 'ftp://cellar.example'}":                       "write https, http before ://",
		"mqtt: {listen: 192.168.0.2:1883}":                             "lets other machines publish: give username and password_file",
		"mqtt: {listen: 127.0.0.1:1883, broker: 'mqtt://b:1883'}":      "keep listen for the embedded broker, or broker",
		"mqtt: {username: a}":                                          "a username or a password without the other",
		"mqtt: {users: {hyd-1: {tanks: [FV1]}}}":                       "mqtt.users.hyd-1 needs password_file",
		"mqtt: {users: {hyd-1: {password_file: token, tanks: [F V]}}}": `"F V"`,
		"mqtt: {users: {a: {password_file: token}}, username: a, password_file: token}": "mqtt.users.a is mqtt.username too",
		"mqtt: {users: {a: {password_file: token}}, broker: 'mqtt://b'}":                "mqtt.users belong to listen",
		"http: {cert_file: token}":                                              "cert_file and key_file belong together",
		"mqtt: {broker: 'tcp://b:1883'}":                                        "write mqtt, mqtts, ws, wss before ://",
		"mqtt: {broker: 'mqtt://a:b@c:1883'}":                                   "has a user or a password in it",
		"mqtt: {broker: 'mqtt://b', ca_file: ca.pem}":                           "is spoken to in the clear",
		"mqtt: {broker: 'mqtt://b', anonymous: true}":                           "belongs to listen",
		"mqtt: {cert_file: cert.pem}":                                           "cert_file and key_file belong together",
		"mqtt: {client_id: x}":                                                  "mqtt.client_id belongs to broker",
		"influx: {org: a}":                                                      "influx needs url: add it",
		"heartbeat: {every: 5m}":                                                "heartbeat needs url, url_file or url_env",
		"heartbeat: {url: 'https://h', every: 1s}":                              "expected 10s to 1 days",
		"atmosphere: {altitude: 30 km}":                                         "unknown unit",
		"display: {gravity: psi}":                                               "write SG, degP",
		"webhooks: [{name: a}]":                                                 "needs url, url_file or url_env, one of them",
		"webhooks: [{url: 'https://a'}]":                                        "webhooks.0 needs name",
		"webhooks: [{name: a, url: hello}]":                                     "not an address (it is not shown here)",
		"webhooks: [{name: a, url_file: token}]":                                "not an address (it is not shown here)",
		"webhooks: [{name: a, url: 'https://a'}, {name: a, url: 'https://a'}]":  `the webhooks 1 and 2 are both called "a"`,
		"webhooks: [{name: a, url: 'https://a', then: b, after: 5m}]":           "then: b is no other webhook here",
		"webhooks: [{name: a, url: 'https://a', after: 5m}]":                    "then and after belong together",
		"webhooks: [{name: a, url: 'https://a', hours: 6-7}]":                   "such as 18:00-07:00",
		"webhooks: [{name: a, url: 'https://a', hours: 07:00-07:00}]":           "is no stretch of a day",
		"webhooks: [{name: a, url: 'https://a', days: weekdays}]":               "such as sat, sun or mon-fri",
		"webhooks: [{name: a, url: 'https://a', priority: urgent}]":             "write one of critical, high, medium, low",
		"webhooks: [{name: a, url: 'https://a', headers: {a b: c}}]":            "a header is one word",
		"sources: [{topic: a/b, fields: {gravity: {at: /g}}}]":                  `has no {tank}`,
		"sources: [{topic: 'a/{tank}/{probe}', fields: {gravity: {at: g}}}]":    `write "/g"`,
		"sources: [{topic: 'a/{tank}/{probe}', fields: {gravity: {unit: SG}}}]": "fields.gravity needs at",
		"sources: [{topic: 'a/{tank}/{probe}', fields: {ph: {at: /g}}}]":        "write one of battery, gravity, pressure, signal, temperature, time",
	} {
		_, err := load(t, text)
		if assert.Error(t, err, text) {
			assert.Contains(t, err.Error(), want, text)
			assert.Contains(t, err.Error(), "spile.yaml:", text)
			assert.NotContains(t, err.Error(), "hello", "an address is a secret")
		}
	}
}

func TestAllErrorsAtOnceInOrder(t *testing.T) {
	_, err := config.Parse("spile.yaml", []byte("tanks:\n  FV3: {relief: 15}\nsite: a b\nhttp: {listen: 0.0.0.0:1}\n"))
	var all config.Errors
	require.ErrorAs(t, err, &all)
	require.Len(t, all, 3)
	assert.Equal(t, []int{2, 3, 4}, []int{all[0].Line, all[1].Line, all[2].Line})
	var one config.Fault
	require.ErrorAs(t, err, &one)
	assert.Len(t, strings.Split(err.Error(), "\n"), 3)
}

func TestMissingFile(t *testing.T) {
	_, err := config.Load(filepath.Join(t.TempDir(), "none.yaml"))
	assert.ErrorContains(t, err, "there is no such file")
	_, err = config.Load(t.TempDir())
	assert.ErrorContains(t, err, "reading the configuration")
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

func TestWarnings(t *testing.T) {
	c, err := load(t, whole)
	require.NoError(t, err)
	all := strings.Join(c.Warnings(), "\n")
	assert.Contains(t, all, "relief not given: over-pressure is NOT watched for FV.4")
	assert.NotContains(t, all, "FV3")
	assert.NotContains(t, all, "acknowledge link")
	assert.Contains(t, all, "spile.yaml:24: tanks.FV.4.gas-group: no other tank is in group left, so nothing is joined")

	c, err = load(t, "mqtt: {listen: 0.0.0.0:1883, anonymous: true}\nhttp: {listen: 0.0.0.0:1, anonymous: true}\nwebhooks: [{name: a, url: 'https://a', headers: {hours: x}}]")
	require.NoError(t, err)
	all = strings.Join(c.Warnings(), "\n")
	assert.Contains(t, all, "http.public not set: messages carry no acknowledge link")
	assert.Contains(t, all, "whoever reaches the port can publish")
	assert.Contains(t, all, "nobody needs a token")

	c, err = load(t, "http: {public: 'https://cellar.example'}")
	require.NoError(t, err)
	assert.Contains(t, strings.Join(c.Warnings(), "\n"), "nobody can write the log or acknowledge")
	assert.Contains(t, strings.Join(config.Default().Warnings(), "\n"), "nobody is woken")
}

func TestHoursThatNobodyCovers(t *testing.T) {
	for hooks, want := range map[string]string{
		"{name: a, url: 'https://a'}":                     "",
		"{name: a, url: 'https://a', hours: 18:00-07:00}": "such as Mon 07:00",
		"{name: a, url: 'https://a', hours: 18:00-07:00}, {name: b, url: 'https://b', hours: 07:00-18:00}":            "",
		"{name: a, url: 'https://a', hours: 18:00-07:00}, {name: b, url: 'https://b', hours: 07:00-17:59}":            "such as Mon 17:59",
		"{name: a, url: 'https://a', days: mon-fri}":                                                                  "such as Sat 00:00",
		"{name: a, url: 'https://a', hours: 18:00-07:00}, {name: b, url: 'https://b', hours: 07:00-18:00, days: sat}": "such as Mon 07:00",
	} {
		c, err := load(t, "webhooks: ["+hooks+"]")
		require.NoError(t, err)
		all := strings.Join(c.Warnings(), "\n")
		if want == "" {
			assert.NotContains(t, all, "an alarm then waits", hooks)
		} else {
			assert.Contains(t, all, want, hooks)
		}
		assert.Contains(t, all, "no webhook of priority low", hooks)
	}
	c, err := load(t, "webhooks: [{name: a, url: 'https://a', priority: low}]")
	require.NoError(t, err)
	assert.NotContains(t, strings.Join(c.Warnings(), "\n"), "priority low")
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

// Any text: a configuration or errors with lines, never a panic.
func FuzzParse(f *testing.F) {
	for _, seed := range []string{whole, "tanks: {FV3: {relief: 15}}", "a: &a [*a]", "webhooks: [{name: a, url: 'https://a', hours: 18:00-07:00}]", "? {a: b}\n: c", "%", "\t", "tanks: &t {F: *t}"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := config.Parse("spile.yaml", text)
		var all config.Errors
		if err != nil {
			require.ErrorAs(t, err, &all)
			require.NotEmpty(t, all)
			return
		}
		var out strings.Builder
		require.NoError(t, c.Print(&out))
		c.Warnings()
		_, err = ingest.NewDecoder(c.Decoder())
		require.NoError(t, err)
	})
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
