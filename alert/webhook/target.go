package webhook

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"text/template"
	"time"

	"spile/alert"
)

// defaultTimeout is how long one request may take where nothing is said.
const defaultTimeout = 15 * time.Second

// target is a webhook made ready.
type target struct {
	name        string
	host        string // what no template may change
	url         part
	method      part
	contentType part
	headers     []part // by name
	body        part
	ownBody     bool   // a template makes it
	key         []byte // nil: unsigned
	secrets     []string
	timeout     time.Duration
	client      *http.Client
	words       alert.Words
}

// token is a method or a header's name, by RFC 9110, section 5.6.2.
var token = regexp.MustCompile("^[!#$%&'*+.^_`|~0-9A-Za-z-]+$")

// newTarget checks a webhook whole: what it refuses is refused at the start and not at three in the morning.
func newTarget(w Webhook, words alert.Words, transport http.RoundTripper) (*target, []Fault) {
	t := &target{
		name: w.Name, timeout: cmp.Or(w.Timeout, defaultTimeout), client: newClient(w, transport), words: words,
		ownBody: w.Body != "",
	}
	for _, s := range w.Secrets {
		t.secrets = append(t.secrets, string(s))
	}
	t.secrets = append(t.secrets, string(w.Secret), string(w.URL))
	var faults []Fault
	note := func(err error) {
		var f Fault
		if errors.As(err, &f) {
			faults = append(faults, f)
		}
	}
	note(t.sign(w.Secret))
	note(t.address(w))
	for _, err := range t.parse(w, functions(words, w.Secrets)) {
		note(err)
	}
	if len(faults) == 0 {
		note(t.rehearse())
	}
	return t, faults
}

// Faults are all that is wrong with a webhook: what New would refuse.
func (w Webhook) Faults() []Fault {
	_, faults := newTarget(w, alert.Words{}, nil)
	return faults
}

// sign takes the signing key.
func (t *target) sign(s Secret) error {
	if s == "" {
		return nil
	}
	key, err := signingKey(s)
	if err != nil {
		return Fault{Part: "secret", Text: err.Error()}
	}
	t.key = key
	return nil
}

// errAddress does not show the address.
var errAddress = errors.New("it must begin with https:// (or http://) and name a host, before any template")

// address takes the URL and notes its host.
func (t *target) address(w Webhook) error {
	text := strings.TrimSpace(string(w.URL))
	before, _, isTemplate := strings.Cut(text, "{{")
	u, err := url.Parse(before)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" || isTemplate && u.Path == "" && u.RawQuery == "" {
		return Fault{Part: "url", Text: errAddress.Error()}
	}
	t.host = u.Host
	t.url, err = newPart("url", text, functions(t.words, w.Secrets))
	return err
}

// parse reads the templates.
func (t *target) parse(w Webhook, functions template.FuncMap) []error {
	contentType := "application/json"
	if t.ownBody {
		contentType = "text/plain; charset=utf-8"
	}
	var errs [3]error
	t.method, errs[0] = newPart("method", cmp.Or(w.Method, http.MethodPost), functions)
	t.contentType, errs[1] = newPart("content_type", cmp.Or(w.ContentType, contentType), functions)
	t.body, errs[2] = newPart("body", w.Body, functions)
	all := errs[:]
	for _, name := range slices.Sorted(maps.Keys(w.Headers)) {
		p, err := newPart("headers."+name, w.Headers[name], functions)
		if !token.MatchString(name) {
			err = Fault{Part: "headers." + name, Text: fmt.Sprintf("%q is no name for a header", name)}
		}
		t.headers, all = append(t.headers, p), append(all, err)
	}
	return all
}

// rehearse makes the request for messages of every sort, so that a template is found wanting before it is needed.
func (t *target) rehearse() error {
	for _, m := range rehearsals() {
		object, err := m.JSON()
		if err != nil {
			return Fault{Part: "body", Text: err.Error()}
		}
		if _, err := t.render(object); err != nil {
			return err
		}
	}
	return nil
}

// rendered is a request for one message.
type rendered struct {
	method string
	url    string
	header http.Header
	body   []byte
}

// render makes the request for a message.
func (t *target) render(object json.RawMessage) (out rendered, err error) {
	data := &Data{JSON: string(object)}
	if err := json.Unmarshal(object, &data.Message); err != nil {
		return out, fmt.Errorf("the message cannot be read: %w", err)
	}
	data.Headline, data.Text = t.words.Headline(data.Message), t.words.Text(data.Message)
	if out.url, err = t.renderURL(data); err != nil {
		return out, err
	}
	if out.method, err = t.renderMethod(data); err != nil {
		return out, err
	}
	if out.body, err = t.renderBody(data, out.method); err != nil {
		return out, err
	}
	out.header, err = t.renderHeader(data, out.body != nil)
	return out, err
}

// renderURL makes the address. A template can change all of it but the host: nobody's summary may send an alarm elsewhere.
func (t *target) renderURL(data *Data) (string, error) {
	text, err := t.url.text(data)
	if err != nil {
		return "", err
	}
	if u, err := url.Parse(text); err != nil || u.Host != t.host {
		return "", Fault{Part: "url", Text: "what the template makes of it is no address: write {{urlquery .Text}} where text goes into it"}
	}
	return text, nil
}

func (t *target) renderMethod(data *Data) (string, error) {
	text, err := t.method.text(data)
	if err != nil {
		return "", err
	}
	if text = strings.ToUpper(strings.TrimSpace(text)); !token.MatchString(text) {
		return "", Fault{Part: "method", Text: fmt.Sprintf("%q is no method: write POST, PUT, PATCH or GET", text)}
	}
	return text, nil
}

// renderBody makes the body; nil: none.
func (t *target) renderBody(data *Data, method string) ([]byte, error) {
	switch {
	case t.ownBody:
		text, err := t.body.text(data)
		return []byte(text), err
	case method == http.MethodGet:
		return nil, nil
	}
	return []byte(data.JSON), nil
}

func (t *target) renderHeader(data *Data, withBody bool) (http.Header, error) {
	header := http.Header{"User-Agent": {"spile"}}
	if withBody {
		text, err := t.contentType.text(data)
		if err != nil {
			return nil, err
		}
		header.Set("Content-Type", oneLine(text))
	}
	for _, p := range t.headers {
		text, err := p.text(data)
		if err != nil {
			return nil, err
		}
		header.Set(strings.TrimPrefix(p.name, "headers."), oneLine(text))
	}
	return header, nil
}
