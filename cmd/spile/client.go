package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"
)

// running is how a command reaches the running daemon.
type running struct {
	URL       string `default:"http://127.0.0.1:8420" env:"SPILE_URL" help:"Where the daemon serves its API."`
	CAFile    string `name:"ca-file" type:"path" env:"SPILE_CA_FILE" help:"The certificate to trust, in PEM form, where the API is served under one of your own."`
	TokenFile string `type:"path" env:"SPILE_TOKEN_FILE" help:"A file with the token that writes need, where the config has one."`
}

const (
	answerWithin = 30 * time.Second
	answerMost   = 16 << 20 // bytes
)

// get asks for a path and decodes the answer.
func (r running) get(ctx context.Context, path string, into any) error {
	return r.call(ctx, http.MethodGet, path, nil, into)
}

// post sends an object and decodes the answer.
func (r running) post(ctx context.Context, path string, object, into any) error {
	body, err := json.Marshal(object)
	if err != nil {
		return err
	}
	return r.call(ctx, http.MethodPost, path, body, into)
}

// page asks for a path in a form, such as text/plain, and gives the answer as it came.
func (r running) page(ctx context.Context, path string, at time.Time, form string) ([]byte, error) {
	if !at.IsZero() {
		path += "?" + url.Values{"at": {at.UTC().Format(time.RFC3339)}}.Encode()
	}
	return r.ask(ctx, http.MethodGet, path, form, nil)
}

func (r running) call(ctx context.Context, method, path string, body []byte, into any) error {
	text, err := r.ask(ctx, method, path, "application/json", body)
	if err != nil {
		return err
	}
	return json.Unmarshal(text, into)
}

// ask sends a request and gives the body of the answer.
func (r running) ask(ctx context.Context, method, path, form string, body []byte) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	path, query, asked := strings.Cut(path, "?")
	address, err := url.JoinPath(r.URL, path)
	if err != nil {
		return nil, usageError{fmt.Errorf("--url=%s: %w", r.URL, err)}
	}
	if asked {
		address += "?" + query
	}
	request, err := http.NewRequestWithContext(ctx, method, address, bytes.NewReader(body))
	if err != nil {
		return nil, usageError{fmt.Errorf("--url=%s: %w", r.URL, err)}
	}
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("Accept", form)
	if r.TokenFile != "" {
		token, err := os.ReadFile(r.TokenFile)
		if err != nil {
			return nil, fmt.Errorf("--token-file: %w", err)
		}
		request.Header.Set("Authorization", "Bearer "+strings.TrimSpace(string(token)))
	}
	client, err := r.client()
	if err != nil {
		return nil, err
	}
	answer, err := client.Do(request)
	if err != nil {
		return nil, fmt.Errorf("no daemon answers at %s: is `spile run` running there? (%w)", r.URL, err)
	}
	defer func() { _ = answer.Body.Close() }() // it was only read
	text, err := io.ReadAll(io.LimitReader(answer.Body, answerMost))
	if err != nil {
		return nil, fmt.Errorf("the daemon's answer broke off: %w", err)
	}
	if answer.StatusCode == http.StatusBadRequest && strings.Contains(string(text), "HTTP request to an HTTPS server") { // net/http's words
		return nil, fmt.Errorf("the daemon at %s speaks TLS: give --url https://NAME:PORT, by the name in its certificate, and --ca-file", r.URL)
	}
	if answer.StatusCode >= 400 {
		return nil, refusal(answer.Status, text)
	}
	return text, nil
}

// client trusts what the system trusts or, where that is given, one certificate.
func (r running) client() (*http.Client, error) {
	if r.CAFile == "" {
		return http.DefaultClient, nil
	}
	pem, err := os.ReadFile(r.CAFile)
	if err != nil {
		return nil, fmt.Errorf("--ca-file: %w", err)
	}
	trusted := x509.NewCertPool()
	if !trusted.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("--ca-file=%s: no certificate in PEM form is in it", r.CAFile)
	}
	return &http.Client{Transport: &http.Transport{
		TLSClientConfig: &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: trusted}, DisableKeepAlives: true,
	}}, nil
}

// refusal is the daemon's own word why it did not do a thing.
func refusal(status string, text []byte) error {
	var said struct {
		Error string `json:"error"`
	}
	if json.Unmarshal(text, &said) == nil && said.Error != "" {
		return fmt.Errorf("the daemon refused: %s", said.Error)
	}
	return fmt.Errorf("the daemon answered %s", status)
}
