package page

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert/webhook"
	"spile/detect/batch"
)

// described is the description, read by a library that knows OpenAPI.
func described(t *testing.T) validator.Validator {
	t.Helper()
	document, err := libopenapi.NewDocument(description)
	require.NoError(t, err)
	v, errs := validator.NewValidator(document)
	require.Empty(t, errs)
	return v
}

// operations are the answers that the description names: "GET /tanks 200".
func operations(t *testing.T) map[string]bool {
	t.Helper()
	var document struct {
		Paths map[string]map[string]json.RawMessage `json:"paths"`
	}
	require.NoError(t, json.Unmarshal(description, &document))
	out := map[string]bool{}
	for path, methods := range document.Paths {
		for method, body := range methods {
			var operation struct{ Responses map[string]any }
			if json.Unmarshal(body, &operation) != nil {
				continue // the parameters of the path
			}
			for status := range operation.Responses {
				out[strings.ToUpper(method)+" "+path+" "+status] = true
			}
		}
	}
	return out
}

func TestTheDescriptionIsOpenAPI(t *testing.T) {
	s, _ := serve(t, nil)
	got := ask(s, "GET", "/api/v1/openapi.json", "")
	require.Equal(t, http.StatusOK, got.Code)
	assert.Equal(t, "3.1.0", object(t, got.Body.String())["openapi"])
	valid, errs := described(t).ValidateDocument()
	assert.True(t, valid, "%v", errs)
}

func TestTheDescriptionNamesEveryPathAndNoOther(t *testing.T) {
	s, _ := serve(t, nil)
	served, named := map[string]bool{}, map[string]bool{}
	for pattern, methods := range s.served {
		path, ours := strings.CutPrefix(pattern, apiRoot)
		for method := range methods {
			if ours && method != http.MethodHead {
				served[method+" "+path] = true
			}
		}
	}
	for operation := range operations(t) {
		named[operation[:strings.LastIndex(operation, " ")]] = true
	}
	assert.Equal(t, served, named)
}

// call is one request and what must come of it.
type call struct {
	method, path string // as the description writes the path
	target       string
	body         string
	status       int
	change       func(*http.Request)
}

// Every answer that the description names is got from the handlers, and is as described.
func TestEveryAnswerIsAsDescribed(t *testing.T) {
	v := described(t)
	missing := operations(t)
	check := func(s http.Handler, c call) {
		t.Helper()
		r := httptest.NewRequest(c.method, apiRoot+c.target, strings.NewReader(c.body))
		r.Host, r.RemoteAddr = "127.0.0.1:8420", "127.0.0.1:50000"
		if c.body != "" {
			r.Header.Set("Content-Type", "application/json")
		}
		if c.change != nil {
			c.change(r)
		}
		w := httptest.NewRecorder()
		s.ServeHTTP(w, r)
		require.Equal(t, c.status, w.Code, "%s %s: %s", c.method, c.target, w.Body)
		valid, errs := v.ValidateHttpResponse(r, w.Result())
		assert.True(t, valid, "%s %s: %v\n%s", c.method, c.target, errs, w.Body)
		delete(missing, c.method+" "+c.path+" "+strconv.Itoa(c.status))
	}

	s, kept := serve(t, func(o *Options) {
		o.Webhooks = func() []webhook.Standing {
			return []webhook.Standing{{Webhook: "phone", Since: now, Problem: "503"}, {Webhook: "chat"}}
		}
		faring(o)
	})
	for _, c := range reads {
		check(s, c)
	}
	synctest.Test(t, func(t *testing.T) {
		full, _ := serve(t, nil)
		busy(full, 0)
		check(full, call{"GET", "/readings", "/readings", "", 503, nil})
	})
	const crash = `{"event":"crash","setpoint":"14.4 degC","id":"one"}`
	check(s, call{"POST", "/tanks/{tank}/log", "/tanks/FV3/log", crash, 201, nil})
	check(s, call{"POST", "/tanks/{tank}/log", "/tanks/FV3/log", crash, 200, nil})
	check(s, call{"POST", "/alarms/{id}/acknowledge", "/alarms/creep/acknowledge", "", 200, nil})
	check(s, call{"POST", "/alarms/{id}/shelve", "/alarms/creep/shelve", `{"for":"2h","why":"I stand here"}`, 200, nil})
	check(s, call{"POST", "/alarms/{id}/unshelve", "/alarms/creep/unshelve", `{"by":"Ines"}`, 200, nil})
	writes := map[string]string{
		"/tanks/{tank}/log": "/tanks/FV3/log", "/alarms/{id}/acknowledge": "/alarms/creep/acknowledge",
		"/alarms/{id}/shelve": "/alarms/creep/shelve", "/alarms/{id}/unshelve": "/alarms/creep/unshelve",
	}
	locked, _ := serve(t, func(o *Options) { o.Token = "secret" })
	for path, target := range writes {
		good := goodBody(path)
		if path != "/tanks/{tank}/log" {
			check(s, call{"POST", path, strings.Replace(target, "creep", "none", 1), good, 404, nil})
			check(s, call{"POST", path, strings.Replace(target, "creep", "past", 1), good, 409, nil})
		}
		check(s, call{"POST", path, target, `{"event":7,"why":7}`, 400, nil})
		check(locked, call{"POST", path, target, good, 401, nil})
		check(s, call{"POST", path, target, good, 403, peer("192.168.1.20:5")})
		check(s, call{"POST", path, target, `{"why":"` + strings.Repeat("x", maxBody) + `"}`, 413, nil})
		check(s, call{"POST", path, target, good, 415, header("Content-Type", "text/plain")})
	}
	kept.fail = ErrLogConflict
	check(s, call{"POST", "/tanks/{tank}/log", "/tanks/FV3/log", crash, 409, nil})
	kept.fail, kept.broken, kept.readings = errDisk, errDisk, nil
	for _, c := range reads {
		if c.status == http.StatusOK && missing[c.method+" "+c.path+" 500"] {
			c.status = http.StatusInternalServerError
			check(s, c)
		}
	}
	for path, target := range writes {
		check(s, call{"POST", path, target, goodBody(path), 500, nil})
	}

	season := seasoned(t, 20.9)
	season.Records.(*records).events = nil
	for _, what := range []string{"report", "holds"} {
		path, target := "/tanks/{tank}/"+what, "/tanks/FV7/"+what
		check(season, call{"GET", path, target, "", 200, nil})
		check(season, call{"GET", path, "/tanks/FV9/" + what, "", 404, nil})
		check(season, call{"GET", path, target + "?at=soon", "", 400, nil})
	}
	season.Report = func(context.Context, string) (batch.Report, error) { return batch.Report{}, errDisk }
	for _, what := range []string{"report", "holds"} {
		check(season, call{"GET", "/tanks/{tank}/" + what, "/tanks/FV7/" + what, "", 500, nil})
	}
	assert.Empty(t, missing, "the description names answers that nobody gave")
}

// goodBody is one that a path takes.
func goodBody(path string) string {
	switch path {
	case "/alarms/{id}/shelve":
		return `{"why":"a test","for":"1h"}`
	case "/tanks/{tank}/log":
		return `{"event":"note","note":"a test"}`
	}
	return `{"why":"a test"}`
}

// reads are requests that change nothing.
var reads = []call{
	{"GET", "/tanks", "/tanks", "", 200, nil},
	{"GET", "/tanks/{tank}", "/tanks/FV3", "", 200, nil},
	{"GET", "/tanks/{tank}", "/tanks/FV9", "", 404, nil},
	{"GET", "/tanks/{tank}/log", "/tanks/FV3/log", "", 200, nil},
	{"GET", "/tanks/{tank}/log", "/tanks/FV9/log", "", 404, nil},
	{"GET", "/readings", "/readings?tank=FV3", "", 200, nil},
	{"GET", "/readings", "/readings?quantity=gravity", "", 200, header("Accept", "text/csv")},
	{"GET", "/readings", "/readings?from=yesterday", "", 400, nil},
	{"GET", "/alarms", "/alarms", "", 200, nil},
	{"GET", "/alarms", "/alarms?state=all", "", 200, nil},
	{"GET", "/alarms", "/alarms?state=all&limit=1", "", 200, nil},
	{"GET", "/alarms", "/alarms?state=open", "", 400, nil},
	{"GET", "/alarms", "/alarms?state=all&before=none", "", 404, nil},
	{"GET", "/alarms/figures", "/alarms/figures", "", 200, nil},
	{"GET", "/alarms/figures", "/alarms/figures?to=noon", "", 400, nil},
	{"GET", "/alarms/{id}", "/alarms/creep", "", 200, nil},
	{"GET", "/alarms/{id}", "/alarms/none", "", 404, nil},
	{"GET", "/refusals", "/refusals", "", 200, nil},
	{"GET", "/webhooks", "/webhooks", "", 200, nil},
	{"GET", "/openapi.json", "/openapi.json", "", 200, nil},
}
