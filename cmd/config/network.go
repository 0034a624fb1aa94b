package config

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v4"

	"spile/detect"
	"spile/detect/beer"
)

// config reads the whole file.
func (r *reader) config(c *Config, root *yaml.Node) {
	r.mapping(map[string]take{
		"site":     value(r, &c.Site, named),
		"timezone": value(r, &c.Zone, zone),
		"data":     value(r, &c.Data, r.folderPath),
		"display": r.mapping(map[string]take{
			"gravity":     value(r, &c.Display.Gravity, unit(beer.KindGravity)),
			"temperature": value(r, &c.Display.Temperature, unit(beer.KindTemperature)),
			"pressure":    value(r, &c.Display.Pressure, unit(beer.KindPressure)),
		}),
		"atmosphere": r.mapping(map[string]take{"altitude": r.altitude(c)}),
		"http": r.mapping(map[string]take{
			"listen":     value(r, &c.HTTP.Listen, address),
			"token_file": value(r, &c.HTTP.Token, r.secret),
			"public":     value(r, &c.HTTP.Public, publicAddress),
			"anonymous":  value(r, &c.HTTP.Anonymous, truth),
			"cert_file":  value(r, &c.HTTP.CertFile, r.path),
			"key_file":   value(r, &c.HTTP.KeyFile, r.path),
		}),
		"mqtt":        r.mqtt(&c.MQTT),
		"influx":      r.influx(c),
		"sources":     r.list(r.source(c)),
		"tanks":       r.named(r.tank(c)),
		"probes":      r.named(r.probe(c)),
		"alarms":      r.alarms(c),
		"hold_points": r.holdPoints(c),
		"heartbeat":   r.heartbeat(c),
		"standby":     r.standby(c),
		"retention": r.mapping(map[string]take{
			"raw":  value(r, &c.Retention.Raw, span(day, 100*365*day)),
			"size": value(r, &c.Retention.Size, bytes),
		}),
		"webhooks": r.list(r.webhook(c)),
	})("", root)
}

const day = 24 * time.Hour

// folderPath counts a relative path from the configuration's folder.
func (r *reader) folderPath(text string) (string, error) {
	if filepath.IsAbs(text) {
		return filepath.Clean(text), nil
	}
	return filepath.Join(r.folder, text), nil
}

// Where people brew, m over the sea.
const (
	lowestCellar  = -430
	highestCellar = 5000
)

func (r *reader) altitude(c *Config) take {
	return func(at string, n *yaml.Node) {
		if optional(r, &c.AltitudeM, amount(beer.KindLength, lowestCellar, highestCellar))(at, n); c.AltitudeM == nil {
			return
		}
		atmosphere, err := beer.AtmosphereAt(*c.AltitudeM)
		if err != nil {
			r.fault(n, "%s: %v", at, err)
			return
		}
		c.AtmosphereKPa = atmosphere
	}
}

func (r *reader) mqtt(m *MQTT) take {
	return r.mapping(map[string]take{
		"listen":        value(r, &m.Listen, address),
		"broker":        value(r, &m.Broker, schemed("mqtt", "mqtts", "ws", "wss")),
		"username":      value(r, &m.Username, plain),
		"password_file": value(r, &m.Password, r.secret),
		"ca_file": value(r, &m.CAFile, func(text string) (string, error) {
			path, _, err := r.trusted(text)
			return path, err
		}),
		"cert_file": value(r, &m.CertFile, r.path),
		"key_file":  value(r, &m.KeyFile, r.path),
		"client_id": value(r, &m.ClientID, plain),
		"anonymous": value(r, &m.Anonymous, truth),
		"users":     r.named(r.user(m)),
	})
}

// user reads one user of the embedded broker.
func (r *reader) user(m *MQTT) func(at, name string, n *yaml.Node) {
	return func(at, name string, n *yaml.Node) {
		u := User{Name: name}
		r.mapping(map[string]take{
			"password_file": value(r, &u.Password, r.secret),
			"tanks": r.list(func(at string, n *yaml.Node) {
				var tank string
				value(r, &tank, tankName)(at, n)
				u.Tanks = append(u.Tanks, tank)
			}),
		})(at, n)
		r.needs(at, n, "password_file")
		m.Users = append(m.Users, u)
	}
}

// tankName reads the name of a tank.
func tankName(text string) (string, error) {
	if !detect.ValidName(text) {
		return "", fmt.Errorf("%q: %s", text, detect.NameRule)
	}
	return text, nil
}

func (r *reader) influx(c *Config) take {
	return func(at string, n *yaml.Node) {
		i := new(Influx)
		r.mapping(map[string]take{
			"url":        value(r, &i.URL, schemed("https", "http")),
			"org":        value(r, &i.Org, plain),
			"bucket":     value(r, &i.Bucket, plain),
			"token_file": value(r, &i.Token, r.secret),
		})(at, n)
		r.needs(at, n, "url", "bucket")
		c.Influx = i
	}
}

func (r *reader) heartbeat(c *Config) take {
	return func(at string, n *yaml.Node) {
		h := &Heartbeat{Every: 5 * time.Minute, Road: Road{Timeout: defaultTimeout}}
		r.mapping(r.road(r.secretAddresses(map[string]take{
			"every": value(r, &h.Every, span(10*time.Second, day)),
		}, &h.URL), &h.Road))(at, n)
		r.oneGiven(at, n, "url", "url_file", "url_env")
		c.Heartbeat = h
	}
}

// needs asks for keys that a section cannot do without.
func (r *reader) needs(at string, n *yaml.Node, keys ...string) {
	for _, key := range keys {
		if _, given := r.given[join(at, key)]; !given {
			r.fault(n, "%s needs %s: add it", at, key)
		}
	}
}

// address reads host:port to listen on.
func address(text string) (string, error) {
	host, port, err := net.SplitHostPort(text)
	if err != nil {
		return "", fmt.Errorf("%q: write host:port, such as 127.0.0.1:8420", text)
	}
	n, err := strconv.Atoi(port)
	if err != nil || n < 0 || n > 65535 {
		return "", fmt.Errorf("%q: %q is no port: write a number up to 65535", text, port)
	}
	return net.JoinHostPort(host, strconv.Itoa(n)), nil
}

// loopback tells whether only this machine reaches an address.
func loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	ip, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && ip.IsLoopback()
}

// schemed reads a URL of one of some schemes, without a password in it.
func schemed(schemes ...string) func(string) (string, error) {
	return func(text string) (string, error) {
		u, err := url.Parse(text)
		switch {
		case err != nil || u.Host == "":
			return "", fmt.Errorf("not an address: write one such as %s://host", schemes[0])
		case !slices.Contains(schemes, u.Scheme):
			return "", fmt.Errorf("%q: write %s before ://", u.Scheme+"://", strings.Join(schemes, ", "))
		case u.User != nil:
			return "", errors.New("has a user or a password in it: they belong in keys or files of their own")
		}
		return text, nil
	}
}

// publicAddress reads where people reach the pages. Their links are absolute, so
// they cannot share a host with something else.
func publicAddress(text string) (string, error) {
	if _, err := schemed("https", "http")(text); err != nil {
		return "", err
	}
	u, err := url.Parse(text)
	if err != nil || strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.Fragment != "" {
		return "", fmt.Errorf("%q: the pages need a host of their own: write nothing behind it, as https://cellar.example/", text)
	}
	return text, nil
}

// secretAddress reads a URL that lets in whoever knows it, and never repeats
// it. Behind its host a template may stand.
func secretAddress(text string) (Secret, error) {
	before, _, _ := strings.Cut(text, "{{")
	u, err := url.Parse(before)
	if err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" {
		return "", errors.New("not an address (it is not shown here): write one such as https://host/path")
	}
	return Secret(text), nil
}

// crossCheck holds keys against each other.
func (r *reader) crossCheck(c *Config) {
	r.checkHTTP(c)
	r.checkMQTT(&c.MQTT)
	r.checkPorts(c)
	r.checkWebhooks(c)
	r.checkStandby(c)
	for name, p := range c.Probes {
		if _, clash := p.Offset[detect.Gravity]; clash && p.At == detect.Head {
			r.faultAt("probes."+name, "probes.%s sits in the head: nothing measures gravity there", name)
		}
	}
}

func (r *reader) checkHTTP(c *Config) {
	r.checkPair("http", c.HTTP.CertFile, c.HTTP.KeyFile)
	if !loopback(c.HTTP.Listen) && c.HTTP.Token == "" && !c.HTTP.Anonymous {
		r.faultAt("http.listen", "http.listen %s lets other machines write the log: give token_file, or anonymous: true if you mean it", c.HTTP.Listen)
	}
}

func (r *reader) checkMQTT(m *MQTT) {
	outside := m.Broker != ""
	if _, both := r.given["mqtt.listen"]; both && outside {
		r.faultAt("mqtt.listen", "mqtt has listen and broker: keep listen for the embedded broker, or broker for one that stands already")
	}
	half := (m.Username == "") != (m.Password == "")
	if half && (!outside || m.Password != "") { // a standing broker may know its clients by name alone
		r.faultAt("mqtt", "mqtt has a username or a password without the other: give username and password_file")
	}
	r.checkPair("mqtt", m.CertFile, m.KeyFile)
	if outside {
		m.Listen = ""
		r.checkOutside(m)
		return
	}
	for _, key := range []string{"ca_file", "client_id"} {
		if _, given := r.given["mqtt."+key]; given {
			r.faultAt("mqtt."+key, "mqtt.%s belongs to broker, and none is given: delete the line", key)
		}
	}
	for _, u := range m.Users {
		if u.Name == m.Username {
			r.faultAt("mqtt.users."+u.Name, "mqtt.users.%s is mqtt.username too: keep one of them", u.Name)
		}
	}
	if !loopback(m.Listen) && m.Username == "" && len(m.Users) == 0 && !m.Anonymous {
		r.faultAt("mqtt.listen", "mqtt.listen %s lets other machines publish: give username and password_file, or users, or anonymous: true if you mean it", m.Listen)
	}
}

// checkPorts sees that the embedded broker and the pages do not take one port.
func (r *reader) checkPorts(c *Config) {
	if c.MQTT.Listen == "" || !onePort(c.MQTT.Listen, c.HTTP.Listen) {
		return
	}
	key, other := "mqtt.listen", "http.listen"
	if _, given := r.given[key]; !given {
		key, other = other, key
	}
	r.faultAt(key, "%s %s and %s %s take the same port: give one of them another, as 1883 for mqtt and 8420 for http",
		key, listened(key, c), other, listened(other, c))
}

func listened(key string, c *Config) string {
	if key == "mqtt.listen" {
		return c.MQTT.Listen
	}
	return c.HTTP.Listen
}

// onePort tells whether only one can listen at two addresses.
func onePort(a, b string) bool {
	hostA, portA, errA := net.SplitHostPort(a)
	hostB, portB, errB := net.SplitHostPort(b)
	if errA != nil || errB != nil || portA != portB || portA == "0" { // 0: whichever is free
		return false
	}
	return hostA == hostB || everywhere(hostA) || everywhere(hostB) || loopback(a) && loopback(b)
}

// everywhere tells whether a host to listen at stands for each address of this machine.
func everywhere(host string) bool {
	ip, err := netip.ParseAddr(host)
	return host == "" || err == nil && ip.IsUnspecified()
}

// checkOutside holds the keys of a standing broker against its address.
func (r *reader) checkOutside(m *MQTT) {
	if m.Anonymous {
		r.faultAt("mqtt.anonymous", "mqtt.anonymous belongs to listen: delete the line")
	}
	if len(m.Users) > 0 {
		r.faultAt("mqtt.users", "mqtt.users belong to listen: a broker that stands already has an access list of its own")
	}
	plainText := strings.HasPrefix(m.Broker, "mqtt://") || strings.HasPrefix(m.Broker, "ws://")
	if plainText && (m.CAFile != "" || m.CertFile != "") {
		r.faultAt("mqtt.broker", "mqtt.broker is spoken to in the clear, so ca_file and cert_file do nothing: write mqtts:// or wss://")
	}
}
