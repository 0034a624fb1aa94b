package deb

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestThePagesLeadToPagesThatAreThere(t *testing.T) {
	pages, err := filepath.Glob(repo + "/deploy/docs/*.md")
	require.NoError(t, err)
	listed, err := os.ReadFile(repo + "/deploy/README.md")
	require.NoError(t, err)
	for _, page := range append(pages, repo+"/deploy/README.md") {
		text, err := os.ReadFile(page)
		require.NoError(t, err)
		for _, found := range regexp.MustCompile(`\]\(([^):]+)\)`).FindAllStringSubmatch(string(text), -1) {
			name, heading, within := strings.Cut(found[1], "#")
			path := filepath.Join(filepath.Dir(page), name)
			assert.True(t, exists(path) && (!within || hasHeading(t, path, heading)), "%s leads to %s", page, found[1])
		}
		if filepath.Base(filepath.Dir(page)) == "docs" {
			assert.Contains(t, string(listed), "(docs/"+filepath.Base(page)+")", "deploy/README.md lists every page")
		}
	}
}

// hasHeading tells whether a page has a heading that is reached by such a name: in small letters, with dashes for blanks.
func hasHeading(t *testing.T, page, name string) bool {
	text, err := os.ReadFile(page)
	require.NoError(t, err)
	for line := range strings.Lines(string(text)) {
		if title := strings.TrimLeft(line, "#"); title != line {
			if strings.ReplaceAll(strings.ToLower(strings.TrimSpace(title)), " ", "-") == name {
				return true
			}
		}
	}
	return false
}
