package config

import (
	"crypto/x509"
	"fmt"
	"maps"
	"net/url"
	"os"
	"slices"
	"strings"
	"time"

	"go.yaml.in/yaml/v4"

	"spile/alert/webhook"
)

// How long one call outside may take.
const (
	shortestTimeout = time.Second
	defaultTimeout  = 15 * time.Second
	longestTimeout  = time.Minute
)

// Road is how an address outside is reached.
type Road struct {
	CAFile  string         // whose certificates are trusted; empty: the system's
	CAs     *x509.CertPool // what is in it
	Proxy   *url.URL       // nil: by the environment's proxy variables
	Timeout time.Duration
}

// road adds the keys of a road to those of a section.
func (r *reader) road(known map[string]take, into *Road) map[string]take {
	own := map[string]take{
		"ca_file": r.certificates(into),
		"proxy":   value(r, &into.Proxy, proxyAddress),
		"timeout": value(r, &into.Timeout, span(shortestTimeout, longestTimeout)),
	}
	maps.Copy(own, known)
	return own
}

// certificates reads a file of certificates in PEM form.
func (r *reader) certificates(into *Road) take {
	return func(at string, n *yaml.Node) {
		value(r, &into.CAFile, func(text string) (string, error) {
			path, pool, err := r.trusted(text)
			into.CAs = pool
			return path, err
		})(at, n)
	}
}

// proxyAddress reads the address of a proxy.
func proxyAddress(text string) (*url.URL, error) {
	if _, err := schemed("http", "https", "socks5")(text); err != nil {
		return nil, err
	}
	return url.Parse(text)
}

// environment reads a secret from a variable of the environment.
func environment(name string) (Secret, error) {
	secret := strings.TrimSpace(os.Getenv(name))
	if secret == "" {
		return "", fmt.Errorf("the environment has no %s: set it for the daemon, or keep the secret in a file", name)
	}
	return Secret(secret), nil
}

// secretAddresses adds the three ways to give an address: in the open, by a file, by the environment.
func (r *reader) secretAddresses(known map[string]take, into *Secret) map[string]take {
	from := func(read func(string) (Secret, error)) func(string) (Secret, error) {
		return func(text string) (Secret, error) {
			address, err := read(text)
			if err != nil {
				return "", err
			}
			return secretAddress(address.Reveal())
		}
	}
	own := map[string]take{
		"url":      value(r, into, secretAddress),
		"url_file": value(r, into, from(r.secret)),
		"url_env":  value(r, into, from(environment)),
	}
	maps.Copy(own, known)
	return own
}

// oneGiven asks for exactly one of some keys.
func (r *reader) oneGiven(at string, n *yaml.Node, keys ...string) {
	count := 0
	for _, key := range keys {
		if _, given := r.given[join(at, key)]; given {
			count++
		}
	}
	if count != 1 {
		last := len(keys) - 1
		r.fault(n, "%s needs %s or %s, one of them", at, strings.Join(keys[:last], ", "), keys[last])
	}
}

// secrets reads what templates may use and nobody may see, by name: each from a file or the environment.
func (r *reader) secrets(w *Webhook) take {
	return r.named(func(at, name string, n *yaml.Node) {
		if resolved(n).Kind != yaml.MappingNode { // what stands there may be the secret itself, and is not repeated
			r.fault(n, "%s: write where the secret is: {file: PATH} or {env: NAME}", at)
			return
		}
		var secret Secret
		r.mapping(map[string]take{
			"file": value(r, &secret, r.secret),
			"env":  value(r, &secret, environment),
		})(at, n)
		r.oneGiven(at, n, "file", "env")
		if w.Secrets == nil {
			w.Secrets = map[string]Secret{}
		}
		w.Secrets[name] = secret
	})
}

// rehearse tries a webhook's templates, so that a fault in one has its line here and no alarm is needed to find it.
// bodyLine is the line of the body's first, 0 where the text is not written line by line.
func (r *reader) rehearse(at string, n *yaml.Node, w Webhook, bodyLine int) {
	for _, f := range w.Target().Faults() {
		key, line := r.partKey(at, f.Part), n.Line
		if given, ok := r.given[key]; ok {
			line = given
		}
		if f.Part == "body" && f.Line > 0 && bodyLine > 0 {
			line = bodyLine + f.Line - 1
		}
		r.faults = append(r.faults, Fault{File: r.file, Line: line, Text: key + ": " + f.Text})
	}
}

// partKey is the key by which a part of a webhook was given.
func (r *reader) partKey(at, part string) string {
	for _, key := range []string{part, part + "_file", part + "_env"} {
		if _, given := r.given[join(at, key)]; given {
			return join(at, key)
		}
	}
	return join(at, part)
}

// firstLine is where the text of a scalar begins, 0 where its lines are not those of the file.
func firstLine(n *yaml.Node) int {
	if n = resolved(n); n.Style&yaml.LiteralStyle != 0 {
		return n.Line + 1
	}
	return 0
}

// Target is the webhook as the sender is told of it.
func (w Webhook) Target() webhook.Webhook {
	out := webhook.Webhook{
		Name: w.Name, URL: webhook.Secret(w.URL), Secret: webhook.Secret(w.Signing), Method: w.Method, ContentType: w.ContentType,
		Headers: w.Headers, Body: w.Body, Timeout: w.Road.Timeout, CAs: w.Road.CAs, Proxy: w.Road.Proxy,
	}
	for _, name := range slices.Sorted(maps.Keys(w.Secrets)) {
		if out.Secrets == nil {
			out.Secrets = map[string]webhook.Secret{}
		}
		out.Secrets[name] = webhook.Secret(w.Secrets[name])
	}
	return out
}

// Target is the watchdog as the daemon calls it.
func (h Heartbeat) Target() webhook.Webhook {
	return webhook.Webhook{
		Name: "heartbeat", URL: webhook.Secret(h.URL), Timeout: h.Road.Timeout, CAs: h.Road.CAs, Proxy: h.Road.Proxy,
	}
}
