package deb

import (
	"os"
	"path/filepath"
	"regexp"
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
			assert.True(t, exists(filepath.Join(filepath.Dir(page), found[1])), "%s leads to %s", page, found[1])
		}
		if filepath.Base(filepath.Dir(page)) == "docs" {
			assert.Contains(t, string(listed), "(docs/"+filepath.Base(page)+")", "deploy/README.md lists every page")
		}
	}
}
