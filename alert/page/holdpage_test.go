package page

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTheReportIsAPageOfItsOwn(t *testing.T) {
	report := fetch(seasoned(t, 12.9), "/tanks/FV7/report", "")
	assert.Equal(t, http.StatusOK, report.Code)
	assert.Contains(t, report.Body.String(), "<svg")
}

func TestALineIsPutRightWithTheFormItWasWrittenWith(t *testing.T) {
	s, kept := serve(t, nil)
	wrong := kept.events[0]
	for _, e := range kept.events {
		if e.Name == "crash" {
			wrong = e
		}
	}
	require.Equal(t, "crash", wrong.Name)
	page := ask(s, "GET", "/tanks/FV3", "").Body.String()
	link := "/tanks/FV3/log?event=crash&amp;corrects=" + wrong.Line()
	require.Contains(t, page, link)
	form := ask(s, "GET", strings.ReplaceAll(link, "&amp;", "&"), "").Body.String()
	assert.Contains(t, form, `name="corrects" value="`+wrong.Line()+`"`)
	assert.Contains(t, form, `name="v.setpoint"`)
	assert.NotContains(t, form, `name="v.setpoint" inputmode="decimal" autocomplete="off" value=""`, "it begins with what the line said")
	got := submit(s, "/tanks/FV3/log", url.Values{
		"event": {"crash"}, "id": {"form-9"}, "corrects": {wrong.Line()}, "v.setpoint": {"57"}, "u.setpoint": {"degF"},
	})
	require.Equal(t, http.StatusSeeOther, got.Code, got.Body)
	assert.Contains(t, ask(s, "GET", "/tanks/FV3", "").Body.String(), "put right later")
	assert.Equal(t, http.StatusNotFound, ask(s, "GET", "/tanks/FV3/log?event=crash&corrects=none", "").Code)
}
