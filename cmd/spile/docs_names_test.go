package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/alert/webhook"
	"spile/detect"
)

func TestTheAlarmsOfTheDocsAreTheCatalogues(t *testing.T) {
	readme := docs(t)["README.md"]
	for _, d := range alert.Catalogue() {
		assert.Contains(t, readme, fmt.Sprintf("| `%s` | %s |", d.Alarm, d.Priority))
	}
	for _, found := range regexp.MustCompile("(?m)^\\| `([a-z-]+)` \\| (?:critical|high|medium|low) \\|").FindAllStringSubmatch(readme, -1) {
		_, known := alert.Define(detect.Alarm(found[1]))
		assert.True(t, known, "README.md: no alarm is called %s", found[1])
	}
}

// TestTheAlarmsPageIsTheCatalogues holds the page for the night to what the messages say.
func TestTheAlarmsPageIsTheCatalogues(t *testing.T) {
	text := readFile(t, "deploy/docs/alarms.md")
	flat := func(s string) string { return strings.Join(strings.Fields(strings.ReplaceAll(s, "\n> ", " ")), " ") }
	page := flat(text)
	for _, d := range alert.Catalogue() {
		for _, said := range []string{"## " + string(d.Alarm), d.Title, d.Meaning, d.LookFirst, d.Safety} {
			assert.Contains(t, page, flat(said), "%s", d.Alarm)
		}
	}
	for _, found := range regexp.MustCompile("(?m)^## (.*)$").FindAllStringSubmatch(text, -1) {
		_, known := alert.Define(detect.Alarm(found[1]))
		assert.True(t, known, "no alarm is called %s", found[1])
	}
}

func TestTheDocsSayWhatNothingRaisesYet(t *testing.T) {
	var detectors string
	files, err := filepath.Glob(filepath.Join(repo, "detect/*.go"))
	require.NoError(t, err)
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		detectors += string(text)
	}
	readme := docs(t)["README.md"]
	for alarm, name := range map[detect.Alarm]string{
		detect.Refermentation: "Refermentation", detect.CrashDrift: "CrashDrift", detect.PressureRise: "PressureRise",
		detect.OverPressure: "OverPressure", detect.Vacuum: "Vacuum", detect.Leak: "Leak", detect.FreezeRisk: "FreezeRisk",
		detect.NotFinished: "NotFinished", detect.ProbeSilent: "ProbeSilent", detect.ProbeFault: "ProbeFault",
	} {
		raised := regexp.MustCompile(`Alarm:\s+` + name + `\b`).MatchString(detectors)
		row := regexp.MustCompile("(?m)^\\| `" + string(alarm) + "` .*$").FindString(readme)
		assert.Equal(t, !raised, strings.Contains(row, "(not detected yet)"), row)
	}
}

func TestTheLogOfTheDocsIsTheLogbook(t *testing.T) {
	readme := docs(t)["README.md"]
	for _, kind := range detect.Logbook() {
		assert.Contains(t, readme, "`"+kind.Name+"`", "README.md names every event")
	}
}

func TestTheTemplatesOfTheDocsHaveTheirFields(t *testing.T) {
	for _, name := range []string{"Headline", "Text", "JSON", "Tank", "Priority", "Acknowledge"} {
		assert.Contains(t, docs(t)["README.md"], "{{."+name+"}}")
		hook := webhook.Webhook{Name: "x", URL: "https://push.example", Body: "{{." + name + "}}"}
		_, err := webhook.New(webhook.Options{Webhooks: []webhook.Webhook{hook}})
		assert.NoError(t, err, name)
	}
}

func TestTheKeysOfTheDocsAreTheConfigs(t *testing.T) {
	_, section, found := strings.Cut(docs(t)["README.md"], "## Every key of the config\n")
	require.True(t, found)
	section, _, _ = strings.Cut(section, "\n## ")
	written := map[string]bool{}
	for _, word := range regexp.MustCompile("`([^`]+)`").FindAllStringSubmatch(section, -1) {
		written[word[1]] = true
	}
	known := configKeys(t)
	require.Greater(t, len(known), 50)
	for key := range known {
		assert.True(t, written[key], "README.md names every key of the config: %s is missing", key)
	}
	for _, place := range []detect.Place{detect.Head, detect.Top, detect.Middle, detect.Bottom, detect.Cone, detect.Outside} {
		known[string(place)] = true
	}
	for _, quantity := range detect.Quantities() {
		known[string(quantity)] = true
	}
	for key := range written {
		assert.True(t, known[key], "README.md: the config has no key %s", key)
	}
}

// configKeys finds the keys of the config where its readers are written: in literals of map[string]take, and where such a
// map is given another key.
func configKeys(t *testing.T) map[string]bool {
	t.Helper()
	out := map[string]bool{}
	key := func(e ast.Expr) {
		if lit, ok := e.(*ast.BasicLit); ok && lit.Kind == token.STRING {
			out[strings.Trim(lit.Value, `"`)] = true
		}
	}
	files, err := filepath.Glob(filepath.Join(repo, "cmd/config/*.go"))
	require.NoError(t, err)
	for _, name := range files {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CompositeLit:
				if of, isMap := n.Type.(*ast.MapType); isMap && fmt.Sprint(of.Value) == "take" {
					for _, e := range n.Elts {
						key(e.(*ast.KeyValueExpr).Key)
					}
				}
			case *ast.IndexExpr:
				if of, named := n.X.(*ast.Ident); named && of.Name == "known" {
					key(n.Index)
				}
			}
			return true
		})
	}
	return out
}

// declared is what the repository has: its tests, and its functions and types by "Name", "Type.Name" and "package.Name".
func declared(t *testing.T) map[string]bool {
	t.Helper()
	out := map[string]bool{}
	require.NoError(t, filepath.WalkDir(repo, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && d.Name() != ".." && strings.HasPrefix(d.Name(), ".") {
			return fs.SkipDir
		}
		if filepath.Ext(path) != ".go" {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		for _, decl := range file.Decls {
			f, isFunc := decl.(*ast.FuncDecl)
			if !isFunc {
				continue
			}
			out[f.Name.Name], out[file.Name.Name+"."+f.Name.Name] = true, true
			if f.Recv != nil {
				of := f.Recv.List[0].Type
				if star, isStar := of.(*ast.StarExpr); isStar {
					of = star.X
				}
				out[fmt.Sprintf("%s.%s", of, f.Name.Name)] = true
			}
		}
		return nil
	}))
	return out
}

// What a document may name: files of the repository, tests, and functions, which it writes with brackets behind.
var (
	namedFile = regexp.MustCompile("`((?:cmd|ingest|detect|alert|testdata|deploy|\\.ci)(?:/[\\w.-]+)*/?)`")
	namedTest = regexp.MustCompile(`\b(?:Test|Fuzz|Benchmark)[A-Z]\w+`)
	namedFunc = regexp.MustCompile("`([A-Za-z]+(?:\\.[A-Za-z]+)?)\\(\\)`")
)

func TestWhatTheDocsNameIsThere(t *testing.T) {
	known := declared(t)
	for file, text := range docs(t) {
		for _, found := range namedFile.FindAllStringSubmatch(text, -1) {
			_, err := os.Stat(filepath.Join(repo, found[1]))
			assert.NoError(t, err, file)
		}
		for _, name := range namedTest.FindAllString(text, -1) {
			assert.True(t, known[name], "%s: there is no %s", file, name)
		}
		for _, found := range namedFunc.FindAllStringSubmatch(text, -1) {
			assert.True(t, known[found[1]], "%s: there is no function %s", file, found[1])
		}
	}
}
