package webhook

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
)

func TestATemplateErrorHasItsLine(t *testing.T) {
	for _, row := range []struct {
		name  string
		spoil func(*Webhook)
		want  string
	}{
		{"no such field", func(w *Webhook) { w.Body = "a\nb\n{{.Nonsense}}" }, "body, line 3: <.Nonsense>: there is no \"Nonsense\": write one such as {{.Text}}"},
		{"a field misspelt", func(w *Webhook) { w.Body = "{{.Txt}}" }, `body, line 1: <.Txt>: there is no "Txt": did you mean "Text"?`},
		{"a field in lower case", func(w *Webhook) { w.Body = "{{.text}}" }, `body, line 1: <.text>: there is no "text": did you mean "Text"?`},
		{"not closed", func(w *Webhook) { w.Body = "\n{{if .Tank}}" }, "body, line 2: unexpected EOF"},
		{"no such function", func(w *Webhook) { w.Body = "{{.Text | shout}}" }, `body, line 1: function "shout" not defined`},
		{"what a message may lack", func(w *Webhook) { w.Body = "{{.Evidence.RatePlatoPerDay.Value}}" }, "body, line 1: <.Evidence.RatePlatoPerDay.Value>: nil pointer"},
		{"what an end may lack", func(w *Webhook) { w.Body = `{{if eq .To "shelved"}}{{index .Evidence.RuledOut 7}}{{end}}` }, "body, line 1"},
		{"only behind a condition", func(w *Webhook) { w.Body = "{{if .Test}}ok{{else}}\n{{.Nonsense}}{{end}}" }, "body, line 2"},
		{"no such secret", func(w *Webhook) { w.Headers = map[string]string{"X-Key": `{{secret "kye"}}`} }, `headers.X-Key, line 1: <secret "kye">: error calling secret: there is no "kye" under secrets`},
		{"a header's name", func(w *Webhook) { w.Headers = map[string]string{"X Key": "1"} }, `headers.X Key: "X Key" is no name for a header`},
		{"a method", func(w *Webhook) { w.Method = "{{.Tank}} now" }, `method: "TEST NOW" is no method`},
		{"a body without end", func(w *Webhook) { w.Body = "{{range 1000000000}}{{$.JSON}}{{end}}" }, "body: the text grows beyond 262144 bytes"},
		{"the host as a template", func(w *Webhook) { w.URL = "https://{{.Tank}}.example/" }, "url: it must begin with https://"},
		{"the host's end as a template", func(w *Webhook) { w.URL = "https://push.example{{.Tank}}/" }, "url: it must begin with https://"},
		{"text in an address", func(w *Webhook) { w.URL = "https://push.example/{{.Text}}" }, "write {{urlquery .Text}}"},
		{"a short key", func(w *Webhook) { w.Secret = "whsec_c2hvcnQ=" }, "secret: the secret is base64 of 24 to 64 random bytes"},
	} {
		t.Run(row.name, func(t *testing.T) {
			w := Webhook{Name: "phone", URL: "https://push.example/t0ken"}
			require.Empty(t, w.Faults())
			row.spoil(&w)
			faults := w.Faults()
			require.Len(t, faults, 1)
			assert.Contains(t, faults[0].Error(), row.want)
			assert.NotContains(t, faults[0].Error(), "t0ken")
		})
	}
}

func TestAllFaultsAtOnce(t *testing.T) {
	w := Webhook{Name: "phone", URL: "hello", Secret: "x", Body: "{{", Method: "{{", ContentType: "{{", Headers: map[string]string{"A": "{{", "B": "{{"}}
	var parts []string
	for _, f := range w.Faults() {
		parts = append(parts, f.Part)
	}
	assert.Equal(t, []string{"secret", "url", "method", "content_type", "body", "headers.A", "headers.B"}, parts)
}

// whole makes a webhook ready that must be sound.
func whole(t *testing.T, w Webhook) *target {
	t.Helper()
	w.Name = "phone"
	target, faults := newTarget(w, alert.Words{}, nil)
	require.Empty(t, faults)
	return target
}

func TestEveryPartIsATemplate(t *testing.T) {
	out, err := whole(t, Webhook{
		URL:         `https://sms.example/send/{{urlquery .Tank}}?key={{secret "key" | urlquery}}&text={{urlquery .Summary}}`,
		Method:      "{{if .Test}}get{{else}}put{{end}}",
		ContentType: "text/{{.Priority}}",
		Headers:     map[string]string{"authorization": `Basic {{base64 (print "spile:" (secret "key"))}}`},
		Body:        `<say>{{html .Summary}}</say>`,
		Secrets:     map[string]Secret{"key": "k&y"},
	}).render(told(t))
	require.NoError(t, err)
	assert.Equal(t, "https://sms.example/send/FV3?key=k%26y&text=says+%2290+%25%22%0Aand+rising", out.url)
	assert.Equal(t, http.MethodPut, out.method)
	assert.Equal(t, "text/critical", out.header.Get("Content-Type"))
	assert.Equal(t, "Basic c3BpbGU6ayZ5", out.header.Get("Authorization"))
	assert.Equal(t, "<say>says &#34;90 %&#34;\nand rising</say>", string(out.body))
}

func TestGetHasNoBodyUnlessOneIsWritten(t *testing.T) {
	out, err := whole(t, Webhook{URL: "https://push.example", Method: http.MethodGet}).render(told(t))
	require.NoError(t, err)
	assert.Empty(t, out.body)
	assert.Empty(t, out.header.Get("Content-Type"))
	out, err = whole(t, Webhook{URL: "https://push.example", Method: http.MethodGet, Body: "x"}).render(told(t))
	require.NoError(t, err)
	assert.Equal(t, "x", string(out.body))
}

// Somebody who can log a summary must not choose where alarms go.
func TestAMessageCannotChangeTheHost(t *testing.T) {
	target := whole(t, Webhook{URL: "https://push.example:443/{{if .By}}{{else}}x{{end}}?t={{urlquery .Tank}}"})
	for _, tank := range []string{"@evil.example/", "/../..//evil.example", "?#"} {
		out, err := target.render([]byte(`{"tank":"` + tank + `"}`))
		require.NoError(t, err)
		assert.True(t, strings.HasPrefix(out.url, "https://push.example:443/"), out.url)
	}
	raw := whole(t, Webhook{URL: "https://push.example/{{with .By}}{{/* raw */}}{{.}}{{end}}"})
	_, err := raw.render([]byte(`{"by":"\u0001"}`))
	require.ErrorContains(t, err, "is no address")
}
