package config_test

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/cmd/config"
	"spile/ingest"
)

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
		"sources: {a: b}":     "sources is a mapping: write a list",
		"site: [a]":           "site is a list: write one value",
		"site:":               "site has no value: give one, or delete the line",
		"- a":                 "the configuration is a list: write keys below it",
		"tanks:\n\tFV3: {}":   "spile.yaml:2: this is not YAML: the line is indented with a tab: write spaces in its place",
		"tanks:\n  \tFV3: {a": "the line is indented with a tab",
		"a: b: c":             "spile.yaml:1: this is not YAML",
		"a: {b: c":            "spile.yaml:2: this is not YAML", "a: \xff": "this is not YAML", "x: *a": "spile.yaml:1: this is not YAML",
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
		"probes: {p: {at: lid}}":                                       "write one of head, bottom, top, middle, cone, outside",
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
		"site: a\nhttp: {public: 'https://a.example/spile'}":           "spile.yaml:2: http.public: \"https://a.example/spile\": the pages need a host of their own",
		"http: {public: 'https://a.example/?a=b'}":                     "the pages need a host of their own",
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
		"site: a\nhttp:\n  cert_file: cert.pem\n  key_file: key.pem":            "spile.yaml:3: http.cert_file: cert.pem: no certificate in PEM form is in it",
		"http:\n  cert_file: ca.pem\n  key_file: key.pem":                       "spile.yaml:3: http.key_file: key.pem is not the key of the certificate in ca.pem",
		"mqtt:\n  cert_file: ca.pem\n  key_file: other-key.pem":                 "spile.yaml:3: mqtt.key_file: other-key.pem is not the key of the certificate in ca.pem",
		"mqtt:\n  broker: mqtts://b\n  ca_file: token":                          "spile.yaml:3: mqtt.ca_file: token: no certificate in PEM form is in it",
		"http: {cert_file: gone, key_file: key.pem}":                            "http.cert_file: there is no file gone",
		"http:\n  listen: 127.0.0.1:1884\nmqtt:\n  listen: 127.0.0.1:1884":      "spile.yaml:4: mqtt.listen 127.0.0.1:1884 and http.listen 127.0.0.1:1884 take the same port",
		"http: {listen: 'localhost:1883'}":                                      "spile.yaml:1: http.listen localhost:1883 and mqtt.listen 127.0.0.1:1883 take the same port",
		"http: {listen: ':01883', anonymous: true}":                             "take the same port: give one of them another",
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

func TestPortsThatDoNotMeet(t *testing.T) {
	for _, text := range []string{
		"http: {listen: 127.0.0.1:0}\nmqtt: {listen: 127.0.0.1:0}",                // whichever are free
		"http: {listen: 127.0.0.1:1883}\nmqtt: {broker: 'mqtt://127.0.0.1:1883'}", // another machine's trouble, or this one's at start
		"http: {listen: 192.168.0.2:99, anonymous: true}\nmqtt: {listen: 127.0.0.1:99}",
	} {
		_, err := load(t, text)
		assert.NoError(t, err, text)
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
