package page

import (
	"encoding/csv"
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestTheLogIsGivenAsLinesAndAsATable(t *testing.T) {
	s, kept := serve(t, nil)
	kept.events = nil
	require.Equal(t, http.StatusCreated, ask(s, "POST", "/api/v1/tanks/FV3/log", `{"event":"crash","setpoint":18,"by":"=cmd"}`).Code)
	wrong := kept.events[0].Line()
	got := ask(s, "POST", "/api/v1/tanks/FV3/log", `{"event":"crash","setpoint":"58 degF","corrects":"`+wrong+`"}`)
	require.Equal(t, http.StatusCreated, got.Code, got.Body)
	got = ask(s, "POST", "/api/v1/tanks/FV3/log", `{"event":"strike","line":"0badbeef"}`)
	assert.Equal(t, http.StatusBadRequest, got.Code)
	assert.Contains(t, got.Body.String(), "no line")

	lines := strings.Split(strings.TrimSpace(fetch(s, "/api/v1/tanks/FV3/log", "application/x-ndjson").Body.String()), "\n")
	require.Len(t, lines, 2)
	assert.Contains(t, lines[0], `"line_name":"`+wrong+`","struck":true`)
	assert.NotContains(t, lines[1], `"struck"`)
	var back detect.Event
	require.NoError(t, json.Unmarshal([]byte(lines[1]), &back), "what is given is read back")
	assert.Equal(t, kept.events[1], back)

	rows, err := csv.NewReader(fetch(s, "/api/v1/tanks/FV3/log", "text/csv").Body).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 3)
	assert.Equal(t, logColumns, rows[0])
	assert.Equal(t, []string{"FV3", "crash", "'=cmd", wrong, "struck", "setpoint 18.0 degC (64.4 degF)"}, rows[1][2:8])
}
