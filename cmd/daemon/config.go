package daemon

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net/url"
	"os"

	"spile/alert"
	"spile/cmd/config"
	"spile/detect"
	"spile/ingest/broker"
)

// FromConfig turns what a brewer wrote into the options of the parts.
func FromConfig(c config.Config) (Options, error) {
	o := Options{
		Site: c.Site, Zone: c.Zone, Display: c.Display, Data: c.Data,
		Decoder:   c.Decoder(),
		Limits:    c.HoldPoints.Limits(),
		Watch:     alert.Options{Site: c.Site, Default: c.Settings(""), Tanks: tanks(c), Tuning: tuning(c), Policy: c.Policy()},
		Embedded:  Embedded{Listen: c.MQTT.Listen, Anonymous: c.MQTT.Anonymous},
		Retention: Retention{Raw: c.Retention.Raw, Size: int64(min(c.Retention.Size, 1<<62))},
		HTTP:      HTTP{Listen: c.HTTP.Listen, Token: string(c.HTTP.Token)},
	}
	if c.MQTT.Username != "" {
		o.Embedded.Credentials = []broker.Credential{{Username: c.MQTT.Username, Password: string(c.MQTT.Password)}}
	}
	for _, u := range c.MQTT.Users {
		o.Embedded.Credentials = append(o.Embedded.Credentials, broker.Credential{Username: u.Name, Password: string(u.Password), Tanks: u.Tanks})
	}
	var err error
	if o.HTTP.TLS, err = serverTLS("http", c.HTTP.CertFile, c.HTTP.KeyFile); err != nil {
		return Options{}, err
	}
	if c.MQTT.Broker == "" {
		if o.Embedded.TLS, err = serverTLS("mqtt", c.MQTT.CertFile, c.MQTT.KeyFile); err != nil {
			return Options{}, err
		}
	}
	if c.Influx != nil {
		o.Influx = &Influx{URL: c.Influx.URL, Org: c.Influx.Org, Bucket: c.Influx.Bucket, Token: string(c.Influx.Token)}
	}
	if c.HTTP.Public != "" {
		public, err := url.Parse(c.HTTP.Public)
		if err != nil {
			return Options{}, fmt.Errorf("%s: http.public: %w", c.Where("http.public"), err)
		}
		o.HTTP.Public = public
	}
	for _, w := range c.Webhooks {
		o.Webhooks = append(o.Webhooks, w.Target())
	}
	if h := c.Heartbeat; h != nil {
		o.Heartbeat = &Heartbeat{Webhook: h.Target(), Every: h.Every}
	}
	if s := c.Standby; s != nil {
		o.Standby = &Standby{Role: s.Role, After: s.After}
	}
	if c.MQTT.Broker == "" {
		return o, nil
	}
	secure, err := brokerTLS(c.MQTT)
	if err != nil {
		return Options{}, err
	}
	o.Outside = &Outside{
		URL: c.MQTT.Broker, ClientID: c.MQTT.ClientID, Username: c.MQTT.Username, Password: string(c.MQTT.Password), TLS: secure,
	}
	return o, nil
}

// tanks are the settings of the tanks that the config names.
func tanks(c config.Config) map[string]detect.Settings {
	out := make(map[string]detect.Settings, len(c.Tanks))
	for name := range c.Tanks {
		out[name] = c.Settings(name)
	}
	return out
}

func tuning(c config.Config) map[detect.Alarm]alert.Tuning {
	out := make(map[detect.Alarm]alert.Tuning, len(c.Alarms))
	for alarm, rule := range c.Alarms {
		out[alarm] = alert.Tuning{OnDelay: rule.OnDelay, OffDelay: rule.OffDelay}
	}
	return out
}

// brokerTLS reads the certificates for an outside broker; nil where none are given.
func brokerTLS(m config.MQTT) (*tls.Config, error) {
	if m.CAFile == "" && m.CertFile == "" {
		return nil, nil
	}
	secure := &tls.Config{MinVersion: tls.VersionTLS12}
	if m.CAFile != "" {
		pem, err := os.ReadFile(m.CAFile)
		if err != nil {
			return nil, fmt.Errorf("mqtt.ca_file: %w", err)
		}
		secure.RootCAs = x509.NewCertPool()
		if !secure.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("mqtt.ca_file %s: no certificate in PEM form is in it", m.CAFile)
		}
	}
	if m.CertFile != "" {
		own, err := tls.LoadX509KeyPair(m.CertFile, m.KeyFile)
		if err != nil {
			return nil, fmt.Errorf("mqtt.cert_file and mqtt.key_file: %w", err)
		}
		secure.Certificates = []tls.Certificate{own}
	}
	return secure, nil
}
