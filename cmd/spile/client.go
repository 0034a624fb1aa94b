package main

import (
	"bytes"
	"context"
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

func (r running) call(ctx context.Context, method, path string, body []byte, into any) error {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	address, err := url.JoinPath(r.URL, path)
	if err != nil {
		return usageError{fmt.Errorf("--url=%s: %w", r.URL, err)}
	}
	request, err := http.NewRequestWithContext(ctx, method, address, bytes.NewReader(body))
	if err != nil {
		return usageError{fmt.Errorf("--url=%s: %w", r.URL, err)}
	}
	request.Header.Set("Content-Type", "application/json")
	if r.TokenFile != "" {
		token, err := os.ReadFile(r.TokenFile)
		if err != nil {
			return fmt.Errorf("--token-file: %w", err)
		}
		request.Header.Set("Authorization", "Bearer "+strings.TrimSpace(string(token)))
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return fmt.Errorf("no daemon answers at %s: is `spile run` running there? (%w)", r.URL, err)
	}
	defer func() { _ = answer.Body.Close() }() // it was only read
	text, err := io.ReadAll(io.LimitReader(answer.Body, answerMost))
	if err != nil {
		return fmt.Errorf("the daemon's answer broke off: %w", err)
	}
	if answer.StatusCode >= 400 {
		return refusal(answer.Status, text)
	}
	return json.Unmarshal(text, into)
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
