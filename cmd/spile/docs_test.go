package main

import (
	"context"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/cmd/config"
	"spile/ingest"
)

// What the docs show is held against what spile does, by the language of the fence:
//
//	console  commands after "$ ", run in order against one daemon; what they print must follow. A line … leaves some out
//	sh       commands without what they print: those of spile must parse
//	yaml     a configuration: loaded, and part of a file in testdata/config
//	mqtt     topic and payload: decoded without a refusal
//	json     the body of a webhook: no field that a message lacks
//	text     after <!-- demo -->, part of what the demo prints; else a picture, listed below
const repo = "../.."

// pictures are the blocks that nothing holds to the truth, by their first line, with the reason.
var pictures = map[string]string{
	"bash .ci/test":                    "it runs this very test",
	"go build -o spile ./cmd/spile":    "whoever runs this test has built it; the gate builds all of it",
	"probe -> broker -> ingest.Intake": "a drawing; the text below it names what is looked up",
	"cmd  ---> alert ---> detect":      "a drawing; TestHouse in cmd/house holds the arrows",
	"go test ./ingest/...":             "the toolchain's commands; the tests they run are this suite",
	"go test -bench":                   "the toolchain's commands",
	"measure ":                         "minutes of simulation; the command stands above it, and a shorter trial is a test of detect/trial",
	"class ":                           "the same",
}

// block is a fenced block of a document.
type block struct {
	file, lang, mark string // mark is the comment on the line before
	line             int
	text             string
}

func (b block) name() string { return fmt.Sprintf("%s:%d", b.file, b.line) }

func (b block) first() string { first, _, _ := strings.Cut(b.text, "\n"); return first }

// picture gives the reason why a block is not checked.
func (b block) picture() (key string, known bool) {
	for start := range pictures {
		if strings.HasPrefix(b.first(), start) {
			return start, true
		}
	}
	return "", false
}

// docs reads the two documents.
func docs(t *testing.T) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, file := range []string{"README.md", "DEVELOPERS.md"} {
		text, err := os.ReadFile(filepath.Join(repo, file))
		require.NoError(t, err)
		out[file] = string(text)
	}
	return out
}

// blocksOf finds the fenced blocks of some languages in both documents.
func blocksOf(t *testing.T, langs ...string) []block {
	t.Helper()
	var out []block
	texts := docs(t)
	for _, file := range []string{"README.md", "DEVELOPERS.md"} {
		var open *block
		before := ""
		for i, line := range strings.Split(texts[file], "\n") {
			switch lang, fence := strings.CutPrefix(line, "```"); {
			case fence && open == nil:
				open = &block{file: file, lang: lang, mark: before, line: i + 1}
			case fence:
				if slices.Contains(langs, open.lang) || len(langs) == 0 {
					out = append(out, *open)
				}
				open = nil
			case open != nil:
				open.text += line + "\n"
			}
			before = line
		}
		require.Nil(t, open, "%s: a fence is not closed", file)
	}
	require.NotEmpty(t, out, "%v", langs)
	return out
}

func TestEveryBlockOfTheDocsIsCheckedOrListed(t *testing.T) {
	used := map[string]bool{}
	for _, b := range blocksOf(t) {
		key, picture := b.picture()
		used[key] = picture
		checked := slices.Contains([]string{"console", "yaml", "mqtt", "json"}, b.lang) ||
			b.lang == "sh" && strings.Contains(b.first(), "spile ") || b.lang == "sh" && strings.Contains(b.first(), "cmd/spile ") ||
			b.lang == "text" && b.mark == "<!-- demo -->"
		assert.True(t, checked || picture, "%s: nothing holds this block to the truth, and it is not listed", b.name())
	}
	for key := range pictures {
		assert.True(t, used[key], "%q is listed, but no block begins so", key)
	}
}

func TestConfigsOfTheDocs(t *testing.T) {
	names, err := filepath.Glob(filepath.Join(repo, "testdata/config/*.yaml"))
	require.NoError(t, err)
	require.NotEmpty(t, names)
	var files string
	for _, name := range names {
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		files += string(text)
	}
	for _, b := range blocksOf(t, "yaml") {
		t.Run(b.name(), func(t *testing.T) {
			assert.Contains(t, files, b.text, "shown, but in no file of testdata/config")
			loadConfig(t, writeConfig(t, t.TempDir(), "shown.yaml", b.text))
		})
	}
	for _, name := range names {
		t.Run(filepath.Base(name), func(t *testing.T) {
			text, err := os.ReadFile(name)
			require.NoError(t, err)
			c := loadConfig(t, writeConfig(t, t.TempDir(), "spile.yaml", string(text)))
			for _, warning := range c.Warnings() {
				assert.NotContains(t, warning, "nothing is joined", "an example shows what works")
			}
		})
	}
}

// loadConfig does with a config what spile run does before it starts.
func loadConfig(t *testing.T, path string) config.Config {
	t.Helper()
	c, o, err := configure(path)
	require.NoError(t, err)
	require.NoError(t, wouldStart(o))
	return c
}

var fileKey = regexp.MustCompile(`(\w*file): *([\w.-]+)`)

// writeConfig writes a config and the files that it names.
func writeConfig(t *testing.T, dir, name, text string) string {
	t.Helper()
	for _, found := range fileKey.FindAllStringSubmatch(text, -1) {
		body := "made up for a test"
		switch found[1] {
		case "url_file":
			body = "https://push.example/made-up"
		case "secret_file":
			body = webhookSecret
		case "ca_file":
			server := httptest.NewTLSServer(nil)
			body = string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: server.Certificate().Raw}))
			server.Close()
		}
		require.NoError(t, os.WriteFile(filepath.Join(dir, found[2]), []byte(body), 0o600))
	}
	path := filepath.Join(dir, name)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

func TestPayloadsOfTheDocs(t *testing.T) {
	c := loadConfig(t, writeConfig(t, t.TempDir(), "sources.yaml", readFile(t, "testdata/config/sources.yaml")))
	decoder, err := ingest.NewDecoder(c.Decoder())
	require.NoError(t, err)
	arrived := time.Date(2026, 3, 2, 1, 15, 10, 0, time.UTC)
	for _, b := range blocksOf(t, "mqtt") {
		for line := range strings.Lines(b.text) {
			topic, payload, _ := strings.Cut(strings.TrimSpace(line), " ")
			got := decoder.Decode(ingest.Message{Topic: topic, Payload: []byte(strings.TrimSpace(payload))}, arrived)
			assert.Empty(t, got.Refusals, "%s: %s", b.name(), line)
			assert.NotEmpty(t, len(got.Readings)+len(got.Events), "%s: %s holds nothing", b.name(), line)
		}
	}
}

func readFile(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(repo, name))
	require.NoError(t, err)
	return string(text)
}

func TestWebhookBodiesOfTheDocs(t *testing.T) {
	for _, b := range blocksOf(t, "json") {
		var m alert.Message
		strict := json.NewDecoder(strings.NewReader(b.text))
		strict.DisallowUnknownFields()
		require.NoError(t, strict.Decode(&m), b.name())
		assert.True(t, m.Answerable(), b.name())
		_, known := alert.Define(m.Alarm)
		assert.True(t, known, b.name())
	}
}

func TestCommandsOfTheDocsParse(t *testing.T) {
	for _, b := range blocksOf(t, "sh", "console") {
		for line := range strings.Lines(b.text) {
			line, shown := strings.CutPrefix(strings.TrimSpace(line), "$ ")
			args, isSpile := strings.CutPrefix(strings.Replace(line, "go run ./cmd/spile", "spile", 1), "spile ")
			if !isSpile || b.lang == "console" && !shown {
				continue
			}
			args, _, _ = strings.Cut(args, " #")
			var c commands
			parser, err := kong.New(&c, kong.Vars{"version": ""}, kong.BindTo(t.Context(), (*context.Context)(nil)))
			require.NoError(t, err)
			_, err = parser.Parse(strings.Fields(args))
			assert.NoError(t, err, "%s: %s", b.name(), line)
		}
	}
}
