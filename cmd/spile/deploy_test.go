package main

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// examples are the webhooks that deploy holds.
const examples = "../../deploy/webhooks"

// secretFiles finds the files that an example names.
var secretFiles = regexp.MustCompile(`(?:_file|file): ([a-z-]+)`)

// furnished copies an example to a folder that has the files it names. Its addresses lead to a server of the test.
func furnished(t *testing.T, example, server string) string {
	t.Helper()
	text, err := os.ReadFile(example)
	require.NoError(t, err)
	dir := t.TempDir()
	for _, found := range secretFiles.FindAllSubmatch(text, -1) {
		content := "s&cr\"t"
		switch name := string(found[1]); {
		case strings.HasSuffix(name, "-url"):
			content = server + "/knock"
		case strings.HasSuffix(name, "-secret"):
			content = webhookSecret
		}
		require.NoError(t, os.WriteFile(filepath.Join(dir, string(found[1])), []byte(content), 0o600))
	}
	local := regexp.MustCompile(`https://[a-z-]+\.example`).ReplaceAllString(string(text), server)
	path := filepath.Join(dir, "spile.yaml")
	require.NoError(t, os.WriteFile(path, []byte(local), 0o600))
	return path
}

func TestTheWebhooksOfDeployCanBeSpokenTo(t *testing.T) {
	t.Setenv("PUSH_PERSON_KEY", "p&rson")
	type request struct {
		*http.Request
		body []byte
	}
	got := make(chan request, 1)
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		got <- request{r.Clone(context.Background()), body}
	}))
	t.Cleanup(server.Close)
	files, err := filepath.Glob(examples + "/*.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	readme, err := os.ReadFile(examples + "/README.md")
	require.NoError(t, err)
	names := regexp.MustCompile(`(?m)^  - name: (\S+)`)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			assert.Contains(t, string(readme), "`"+filepath.Base(file)+"`")
			path := furnished(t, file, server.URL)
			said := spawnOnce(t, "check", "--config", path)
			assert.NotContains(t, said, "s&cr")
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			for _, name := range names.FindAllStringSubmatch(string(text), -1) {
				assert.Contains(t, spawnOnce(t, "try-webhook", name[1], "--config", path), "answered 200")
				r := <-got
				requireForm(t, r.Request, r.body)
			}
		})
	}
}

// requireForm checks that a body is what its content type says, and holds the words of the test message.
func requireForm(t *testing.T, r *http.Request, body []byte) {
	t.Helper()
	words := string(body)
	switch kind, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";"); kind {
	case "application/json":
		require.True(t, json.Valid(body), "%s", body)
	case "application/ssml+xml":
		require.NoError(t, xml.Unmarshal(body, new(struct{})), "%s", body)
	case "application/x-www-form-urlencoded":
		r.Body = io.NopCloser(bytes.NewReader(body))
		require.NoError(t, r.ParseForm())
		assert.Equal(t, "p&rson", r.PostForm.Get("person"))
		words = r.PostForm.Get("text")
	case "":
		assert.Equal(t, http.MethodGet, r.Method)
		words = r.URL.Query().Get("text")
	default:
		assert.Equal(t, "text/plain", kind)
	}
	assert.Contains(t, words, "TEST")
}
