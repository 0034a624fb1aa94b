package house

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// snippet is a small tree that breaks one rule, and the places where it must
// be caught; what is not named must pass.
type snippet struct {
	rule  string
	files map[string]string
	want  []string
}

func TestEveryRuleHasASnippet(t *testing.T) {
	shown := map[string]bool{}
	for _, s := range snippets() {
		shown[s.rule] = true
	}
	assert.Equal(t, slices.Sorted(maps.Keys(rules())), slices.Sorted(maps.Keys(shown)))
}

func TestRulesCatchTheirSnippets(t *testing.T) {
	for _, s := range snippets() {
		t.Run(s.rule, func(t *testing.T) {
			fsys := fstest.MapFS{}
			for name, text := range s.files {
				fsys[name] = &fstest.MapFile{Data: []byte(text)}
			}
			house, err := load(fsys)
			require.NoError(t, err)
			faults := rules()[s.rule](house)
			slices.Sort(faults)
			require.Len(t, faults, len(s.want), strings.Join(faults, "\n"))
			for i, want := range s.want {
				assert.True(t, strings.HasPrefix(faults[i], want), "want %q, got %q", want, faults[i])
			}
		})
	}
}

func snippets() []snippet {
	return slices.Concat(importSnippets(), callSnippets(), globalSnippets(), shapeSnippets(), tidySnippets())
}

func importSnippets() []snippet {
	return []snippet{
		{"arrows", map[string]string{
			"detect/a.go":       "package detect\nimport _ \"spile/alert\"",
			"alert/a.go":        "package alert\nimport _ \"spile/detect\"\nimport _ \"spile/ingest/journal\"",
			"alert/a_test.go":   "package alert\nimport _ \"spile/ingest/servertest\"\nimport _ \"spile/ingest\"",
			"ingest/a.go":       "package ingest\nimport _ \"spile/alert/webhook\"\nimport _ \"spile/alerting\"",
			"cmd/daemon/a.go":   "package daemon\nimport _ \"spile/ingest\"\nimport _ \"spile/alert\"",
			"ingest/servers.go": "package ingest\nimport _ \"spile/cmd/daemon\"",
		}, []string{
			"alert/a.go:3:", "alert/a_test.go:3:", "detect/a.go:2:", "ingest/a.go:2:", "ingest/servers.go:2:",
		}},
		{"pure-imports", map[string]string{
			"detect/a.go": "package detect\nimport (\n_ \"math\"\n_ \"gonum.org/v1/gonum/mat\"\n_ \"spile/detect/beer\"\n" +
				"_ \"os\"\n_ \"net/http\"\n_ \"log/slog\"\n_ \"database/sql\"\n_ \"github.com/google/uuid\"\n_ \"io/fs\"\n_ \"crypto/rand\"\n)",
			"detect/beer/a.go": "package beer\nimport _ \"os/exec\"",
			"detect/a_test.go": "package detect\nimport _ \"os\"",
			"alert/a.go":       "package alert\nimport _ \"os\"",
		}, []string{
			"detect/a.go:10:", "detect/a.go:11:", "detect/a.go:12:", "detect/a.go:6:", "detect/a.go:7:", "detect/a.go:8:",
			"detect/a.go:9:", "detect/beer/a.go:2:",
		}},
		{"test-imports", map[string]string{
			"cmd/a.go":               "package cmd\nimport _ \"testing\"\nimport _ \"spile/ingest/servertest\"",
			"cmd/a_test.go":          "package cmd\nimport _ \"testing\"",
			"ingest/servertest/a.go": "package servertest\nimport _ \"testing\"",
		}, []string{"cmd/a.go:2:", "cmd/a.go:3:"}},
		{"dot-imports", map[string]string{
			"cmd/a.go": "package cmd\nimport . \"time\"\nimport m \"math\"",
		}, []string{"cmd/a.go:2:"}},
	}
}

func callSnippets() []snippet {
	return []snippet{
		{"clock", map[string]string{
			"detect/a.go": "package detect\nimport \"time\"\nimport \"math/rand/v2\"\n" +
				"var now = time.Now\n" +
				"func f(t time.Time) { time.Sleep(time.Second) }\n" +
				"func g(r *rand.Rand) int { return r.IntN(3) + rand.New(rand.NewPCG(1, 2)).IntN(3) }\n" +
				"func h() int { return rand.IntN(3) }\n" +
				"func i(rand *rand.Rand) int { return rand.IntN(3) }\n",
			"detect/b.go": "package detect\nimport clock \"time\"\nfunc j() clock.Time { return clock.Now() }\n",
			"ingest/a.go": "package ingest\nimport \"time\"\nvar now = time.Now\n",
		}, []string{"detect/a.go:4:", "detect/a.go:5:", "detect/a.go:7:", "detect/b.go:3:"}},
		{"sleep", map[string]string{
			"cmd/a_test.go": "package cmd\nimport \"time\"\nfunc f() { time.Sleep(1) }",
			"cmd/a.go":      "package cmd\nimport \"time\"\nfunc f() { time.Sleep(1) }",
		}, []string{"cmd/a_test.go:3:"}},
		{"exits", map[string]string{
			"cmd/spile/a.go":  "package main\nimport \"os\"\nfunc main() { os.Exit(1) }",
			"cmd/daemon/a.go": "package daemon\nimport \"os\"\nfunc f() { os.Exit(1) }",
			"alert/a.go":      "package alert\nimport \"log\"\nfunc f() { log.Fatalf(\"x\") }",
		}, []string{"alert/a.go:3:", "cmd/daemon/a.go:3:"}},
		{"inits", map[string]string{
			"cmd/a.go": "package cmd\nfunc init() {}\ntype t int\nfunc (t) init() {}",
		}, []string{"cmd/a.go:2:"}},
	}
}

func globalSnippets() []snippet {
	good := "package alert\nimport (\"errors\"; \"regexp\"; \"embed\"; \"io\"; \"encoding/base32\")\n" +
		"var letters = base32.StdEncoding.WithPadding(base32.NoPadding)\n" +
		"var errX = errors.New(\"x\")\nvar pattern = regexp.MustCompile(\"x\")\n" +
		"//go:embed a.css\nvar files embed.FS\nvar _ io.Reader = (*T)(nil)\n" +
		"var table = map[string]int{\"a\": 1}\nvar Other = []int{1}\n" +
		"func read() int { table := table; table[\"b\"] = 2; return Other[0] }\n" +
		"func local() { var Other []int; Other = append(Other, 1) }\n"
	return []snippet{
		{"globals", map[string]string{
			"alert/good.go": good,
			"cmd/a_test.go": "package cmd\nvar seen int\n",
			"cmd/c/main.go": "package main\nvar release string\n",
			"cmd/d/main.go": "package main\nvar release string\nfunc f() { release = \"1\" }\n",
			"cmd/e/main.go": "package main\nvar count int\n",
			"ingest/i/i.go": "package i\nvar release string\n",
			"ingest/j/j.go": "package j\nimport \"github.com/prometheus/client_golang/prometheus\"\nvar d = prometheus.NewDesc()\n",
			"ingest/k/k.go": "package k\nimport \"github.com/prometheus/client_golang/prometheus\"\nvar d = prometheus.NewGauge()\n",
		}, []string{"cmd/d/main.go:3:", "cmd/e/main.go:2:", "ingest/i/i.go:2:", "ingest/k/k.go:3:"}},
		{"globals", map[string]string{
			"alert/a.go": "package alert\nvar count int\nvar now = clock()\nvar f = func() {}\nvar p = &T{}\nvar a, b = T{}, 3\n",
		}, []string{"alert/a.go:2:", "alert/a.go:3:", "alert/a.go:4:", "alert/a.go:5:", "alert/a.go:6:"}},
		{"globals", map[string]string{
			"alert/good.go": good,
			"alert/w.go": "package alert\nfunc w() {\ntable[\"b\"] = 2\ndelete(table, \"a\")\nOther = nil\n" +
				"Other[0]++\n_ = &table\nclear(Other)\n}\n",
			"cmd/w.go":        "package cmd\nimport \"spile/alert\"\nfunc w() { alert.Other[0] = 1 }\n",
			"alert/w_test.go": "package alert\nfunc v() { errX = nil }\n",
		}, []string{
			"alert/w.go:3:", "alert/w.go:4:", "alert/w.go:5:", "alert/w.go:6:", "alert/w.go:7:", "alert/w.go:8:",
			"alert/w_test.go:2:", "cmd/w.go:3:",
		}},
	}
}

func shapeSnippets() []snippet {
	long := func(lines int) string { return "func f() {\n" + strings.Repeat("_ = 1\n", lines-2) + "}\n" }
	return []snippet{
		{"comments", map[string]string{
			"alert/a.go":      "// Package alert is one.\npackage alert",
			"alert/b.go":      "// A licence.\n\npackage alert",
			"alert/a_test.go": "// A test.\npackage alert",
			"detect/a.go":     "package detect",
			"ingest/a.go":     "// Package ingest is one.\npackage ingest",
			"ingest/b.go":     "// Package ingest is two.\npackage ingest",
		}, []string{"detect: 0", "ingest: 2"}},
		{"documented", map[string]string{
			"alert/a.go": "package alert\nfunc F() {}\ntype T int\nfunc (*T) M() {}\nfunc (u[X]) M() {}\nconst C = 1\nvar V = T(1)\n" +
				"// G is.\nfunc G() {}\n// The Ds.\nconst (\nD = 1\n)\nconst (\nE = 1 // E is.\nH = 2\n)\n" +
				"type (\n// I is.\nI int\nJ int\n)\n",
			"alert/a_test.go": "package alert\nfunc X() {}",
		}, []string{
			"alert/a.go:16:", "alert/a.go:21:", "alert/a.go:2:", "alert/a.go:3:", "alert/a.go:4:", "alert/a.go:6:", "alert/a.go:7:",
		}},
		{"lengths", map[string]string{
			"alert/a.go":      "package alert\n" + long(80),
			"alert/b.go":      "package alert\n" + long(81),
			"alert/b_test.go": "package alert\n" + long(600),
			"alert/c.go":      "package alert\n" + strings.Repeat("\n", 500),
			"alert/d.go":      "package alert\n" + strings.Repeat("\n", 499),
		}, []string{"alert/b.go:2:", "alert/c.go: 501"}},
		{"names", map[string]string{
			"alert/util/a.go":  "package util",
			"alert/types.go":   "package alert",
			"alert/webhook.go": "package alert",
		}, []string{"alert/types.go:", "alert/util/a.go:"}},
	}
}

func tidySnippets() []snippet {
	return []snippet{
		{"top-level", map[string]string{
			".gitignore": "spile-data/\n/spile\n*.prof\n",
			".ci/run":    "", "cmd/a.go": "package cmd", "README.md": "", "spile": "", "spile-data/journal.db": "", "cpu.prof": "",
			"tools/a.go": "package tools", "NOTES.md": "",
		}, []string{"NOTES.md:", "tools:"}},
		{"machine-paths", map[string]string{
			"README.md":      "see \"/" + "home/brewer/x\"",
			"cmd/a.go":       "package cmd\n\n// in /" + "tmp/x",
			"deploy/unit":    "ExecStart=/" + "root/spile\nState=/var/lib/spile https://cellar.example/home/x ./tmp/x",
			"testdata/p.png": "\x00 /" + "tmp/x",
			".ci/cache/log":  "/" + "tmp/x",
		}, []string{"README.md:1:", "cmd/a.go:3:", "deploy/unit:1:"}},
	}
}
