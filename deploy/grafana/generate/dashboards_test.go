package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/plugins"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTheDashboardsAreThoseOfTheGenerator(t *testing.T) {
	folder := t.TempDir()
	require.NoError(t, run([]string{folder}))
	made, err := os.ReadDir(folder)
	require.NoError(t, err)
	kept, err := os.ReadDir(filepath.Join("..", "dashboards"))
	require.NoError(t, err)
	require.Len(t, kept, len(made))
	for _, file := range made {
		fresh, err := os.ReadFile(filepath.Join(folder, file.Name()))
		require.NoError(t, err)
		committed, err := os.ReadFile(filepath.Join("..", "dashboards", file.Name()))
		require.NoError(t, err)
		assert.Equal(t, string(committed), string(fresh), "%s: run go run ./deploy/grafana/generate deploy/grafana/dashboards", file.Name())
	}
}

// faults is what Grafana's schema has against a dashboard: of the whole, and then of each panel by itself, for the
// library's strict reader stops at the first panel that it has nothing against.
func faults(t *testing.T, body []byte) (out []string) {
	t.Helper()
	plugins.RegisterDefaultPlugins()
	look := func(err error) {
		var found cog.BuildErrors
		if errors.As(err, &found) {
			for _, one := range found { // none is no fault, though it is an error
				out = append(out, one.Error())
			}
		} else if err != nil {
			out = append(out, err.Error())
		}
	}
	var panels struct{ Panels []json.RawMessage }
	require.NoError(t, json.Unmarshal(body, &panels))
	look(new(dashboard.Dashboard).UnmarshalJSONStrict(body))
	for _, p := range panels.Panels {
		look(new(dashboard.Panel).UnmarshalJSONStrict(p))
	}
	return out
}

// The kept files are read back by the types of Grafana's own schema, which know every field of a dashboard, of its panels
// and of their queries, and take no other.
func TestGrafanasSchemaTakesTheDashboards(t *testing.T) {
	kept, err := filepath.Glob(filepath.Join("..", "dashboards", "*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, kept)
	uids := map[string]bool{}
	for _, file := range kept {
		body, err := os.ReadFile(file)
		require.NoError(t, err)
		var d dashboard.Dashboard
		assert.Empty(t, faults(t, body), file)
		require.NoError(t, json.Unmarshal(body, &d), file)
		require.NoError(t, d.Validate(), file)
		require.NotNil(t, d.Uid, file)
		assert.False(t, uids[*d.Uid], "%s: two dashboards have its uid", file)
		assert.LessOrEqual(t, len(*d.Uid), 40, "%s: the most that Grafana takes", file)
		uids[*d.Uid] = true
		variables := map[string]bool{"__rate_interval": true} // Grafana's own
		for _, v := range d.Templating.List {
			variables[v.Name] = true
		}
		ids, taken := map[uint32]bool{}, map[[2]uint32]string{}
		for _, p := range d.Panels {
			require.NotNil(t, p.Panel, file)
			title := file + ": " + *p.Panel.Title
			assert.False(t, ids[*p.Panel.Id], "%s: two panels have its id", title)
			ids[*p.Panel.Id] = true
			place := p.Panel.GridPos
			assert.LessOrEqual(t, place.X+place.W, uint32(24), "%s: wider than the grid", title)
			for x := place.X; x < place.X+place.W; x++ {
				for y := place.Y; y < place.Y+place.H; y++ {
					assert.Empty(t, taken[[2]uint32{x, y}], "%s: lies over another", title)
					taken[[2]uint32{x, y}] = title
				}
			}
			assert.Equal(t, "${source}", *p.Panel.Datasource.Uid, title)
			assert.Contains(t, []string{"timeseries", "stat"}, p.Panel.Type, title)
		}
		for _, used := range regexp.MustCompile(`\$\{?(\w+)`).FindAllStringSubmatch(string(body), -1) {
			assert.True(t, variables[used[1]], "%s: no variable %s", file, used[1])
		}
	}
}

// What Grafana has no field for does not pass.
func TestGrafanasSchemaIsStrict(t *testing.T) {
	body, err := os.ReadFile(filepath.Join("..", "dashboards", "tank.json"))
	require.NoError(t, err)
	for _, broken := range [][2]string{{`"lineWidth"`, `"linesWidth"`}, {`"expr"`, `"expression"`}, {`"timezone"`, `"zone"`}} {
		require.Contains(t, string(body), broken[0])
		assert.NotEmpty(t, faults(t, bytes.ReplaceAll(body, []byte(broken[0]), []byte(broken[1]))), broken[1])
	}
}

func TestItAsksForAFolder(t *testing.T) {
	assert.ErrorContains(t, run(nil), "give the folder")
}
