package webhook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"text/template"
	"time"

	"spile/alert"
)

// Webhook is one address and what it wants to be sent.
type Webhook struct {
	Name        string
	URL         Secret
	Secret      Secret            // signs; empty: unsigned
	Method      string            // empty: POST
	ContentType string            // empty: application/json, of a template's body text/plain
	Headers     map[string]string // each a text/template like the body
	Body        string            // a text/template; empty: the JSON object
}

// Data is what the templates of a webhook see: every field of the message by its Go name, such as {{.Tank}}, and
// the words for people. The function json writes any value as JSON, when writes a time by the cellar's clock.
type Data struct {
	alert.Message
	Headline string // one line
	Text     string // three lines for a lock screen
	JSON     string // the object of the default body
}

// target is a webhook made ready.
type target struct {
	name        string
	url         *url.URL
	key         []byte // nil: unsigned
	method      string
	contentType string
	headers     map[string]*template.Template
	body        *template.Template // nil: the JSON object
	words       alert.Words
}

// headerName is a token by RFC 9110, section 5.6.2.
var headerName = regexp.MustCompile("^[!#$%&'*+.^_`|~0-9A-Za-z-]+$")

// newTarget checks a webhook whole: what it refuses is refused at the start and not at three in the morning.
func newTarget(w Webhook, words alert.Words) (*target, error) {
	if w.Name == "" {
		return nil, errors.New("a webhook needs a name")
	}
	t := &target{name: w.Name, method: w.Method, contentType: w.ContentType, words: words}
	if t.method == "" {
		t.method = http.MethodPost
	}
	if t.contentType == "" {
		t.contentType = "application/json"
		if w.Body != "" {
			t.contentType = "text/plain; charset=utf-8"
		}
	}
	var err error
	if t.url, err = address(w.URL); err == nil && w.Secret != "" {
		t.key, err = signingKey(w.Secret)
	}
	if err == nil {
		err = t.parse(w)
	}
	if err != nil {
		return nil, fmt.Errorf("webhook %s: %w", w.Name, err)
	}
	return t, nil
}

// address reads a URL. The error does not show it.
func address(s Secret) (*url.URL, error) {
	u, err := url.Parse(strings.TrimSpace(string(s)))
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return nil, errors.New("the url must begin with https:// (or http://) and name a host")
	}
	return u, nil
}

// parse reads the templates and tries them.
func (t *target) parse(w Webhook) error {
	var err error
	if w.Body != "" {
		if t.body, err = t.template("body", w.Body); err != nil {
			return err
		}
	}
	t.headers = map[string]*template.Template{}
	for name, text := range w.Headers {
		if !headerName.MatchString(name) {
			return fmt.Errorf("header %q is no name for a header", name)
		}
		if t.headers[name], err = t.template("header "+name, text); err != nil {
			return err
		}
	}
	sample, err := alert.TestMessage(time.Unix(0, 0)).JSON()
	if err != nil {
		return err
	}
	_, _, err = t.render(sample)
	return err
}

// template reads one template.
func (t *target) template(name, text string) (*template.Template, error) {
	parsed, err := template.New(name).Funcs(template.FuncMap{"json": toJSON, "when": t.when}).Parse(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return parsed, nil
}

// when writes a time with its weekday, for a template that does not know today.
func (t *target) when(at time.Time) string { return t.words.When(at, at.AddDate(0, 0, 1)) }

// toJSON writes any value as JSON: {{json .Headline}} is a quoted string, fit for a JSON body.
func toJSON(v any) (string, error) {
	body, err := json.Marshal(v)
	return string(body), err
}

// render makes the body and the headers for a message.
func (t *target) render(object json.RawMessage) (body []byte, headers http.Header, err error) {
	headers = http.Header{"Content-Type": {t.contentType}, "User-Agent": {"spile"}}
	if t.body == nil && len(t.headers) == 0 {
		return object, headers, nil
	}
	data := Data{JSON: string(object)}
	if err := json.Unmarshal(object, &data.Message); err != nil {
		return nil, nil, fmt.Errorf("the message cannot be read: %w", err)
	}
	data.Headline, data.Text = t.words.Headline(data.Message), t.words.Text(data.Message)
	for name, tmpl := range t.headers {
		var value bytes.Buffer
		if err := tmpl.Execute(&value, data); err != nil {
			return nil, nil, err
		}
		headers.Set(name, oneLine(value.String()))
	}
	if t.body == nil {
		return object, headers, nil
	}
	var text bytes.Buffer
	if err := t.body.Execute(&text, data); err != nil {
		return nil, nil, err
	}
	return text.Bytes(), headers, nil
}

// oneLine makes a text fit for a header: a line break, or what else no header may hold, becomes a space.
func oneLine(s string) string {
	clean := strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, s)
	return strings.TrimSpace(clean)
}
