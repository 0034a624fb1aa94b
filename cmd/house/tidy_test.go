package house

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strings"
)

// rooms are what the top level holds, beside dot-files.
var rooms = []string{
	"cmd", "ingest", "detect", "alert", "deploy", "testdata", "go.mod", "go.sum", "README.md", "DEVELOPERS.md",
}

// machinePath is a path that means something on one machine only.
var machinePath = regexp.MustCompile(`(?:^|[^\w./~-])/(?:work|root|home|Users|tmp)/`)

// topLevel checks that a new thing finds its room. What git ignores does not
// count: a data directory, a built binary.
func topLevel(t *tree) (faults []string) {
	entries, err := fs.ReadDir(t.fsys, ".")
	if err != nil {
		return []string{err.Error()}
	}
	ignored, err := ignoredPatterns(t.fsys)
	if err != nil {
		return []string{err.Error()}
	}
	for _, e := range entries {
		matches := func(pattern string) bool {
			ok, err := path.Match(pattern, e.Name())
			return ok && err == nil
		}
		if !strings.HasPrefix(e.Name(), ".") && !slices.Contains(rooms, e.Name()) && !slices.ContainsFunc(ignored, matches) {
			faults = append(faults, fmt.Sprintf("%s: the top level holds %s and dot-files only", e.Name(), strings.Join(rooms, ", ")))
		}
	}
	return faults
}

// ignoredPatterns reads .gitignore, of which only plain patterns of the top
// level matter here.
func ignoredPatterns(fsys fs.FS) ([]string, error) {
	text, err := fs.ReadFile(fsys, ".gitignore")
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var patterns []string
	for line := range strings.Lines(string(text)) {
		patterns = append(patterns, strings.Trim(strings.TrimSpace(line), "/"))
	}
	return patterns, err
}

// machinePaths checks every text of the repository, not Go alone.
func machinePaths(t *tree) (faults []string) {
	err := fs.WalkDir(t.fsys, ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (name == ".git" || name == ".ci/cache" || name == "spile-data"):
			return fs.SkipDir
		case d.IsDir() || !d.Type().IsRegular():
			return nil
		}
		text, err := fs.ReadFile(t.fsys, name)
		if err != nil || bytes.IndexByte(text, 0) >= 0 { // binary: a picture, a built command
			return err
		}
		for i, line := range bytes.Split(text, []byte("\n")) {
			if machinePath.Match(line) {
				faults = append(faults, fmt.Sprintf("%s:%d: a path of one machine: %s", name, i+1, bytes.TrimSpace(line)))
			}
		}
		return nil
	})
	if err != nil {
		faults = append(faults, err.Error())
	}
	return faults
}
