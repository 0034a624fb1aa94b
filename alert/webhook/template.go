package webhook

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"text/template"
	"time"

	"spile/alert"
	"spile/detect"
)

// part is one piece of a request: a fixed text, or a template.
type part struct {
	name     string
	fixed    string
	template *template.Template // nil: fixed
}

// longestPart is where a template's text is cut off: none that is meant comes near it.
const longestPart = 256 << 10

// newPart reads a text that may be a template.
func newPart(name, text string, functions template.FuncMap) (part, error) {
	if !strings.Contains(text, "{{") {
		return part{name: name, fixed: text}, nil
	}
	parsed, err := template.New(name).Funcs(functions).Parse(text)
	if err != nil {
		return part{}, fault(name, err)
	}
	return part{name: name, template: parsed}, nil
}

// text makes the piece for a message.
func (p part) text(data *Data) (string, error) {
	if p.template == nil {
		return p.fixed, nil
	}
	var out bounded
	if err := p.template.Execute(&out, data); err != nil {
		return "", fault(p.name, err)
	}
	return out.String(), nil
}

// bounded is a buffer that does not grow without end.
type bounded struct{ bytes.Buffer }

func (b *bounded) Write(text []byte) (int, error) {
	if b.Len()+len(text) > longestPart {
		return 0, fmt.Errorf("the text grows beyond %d bytes", longestPart)
	}
	return b.Buffer.Write(text)
}

// functions are those of the templates.
func functions(words alert.Words, secrets map[string]Secret) template.FuncMap {
	return template.FuncMap{
		"json":   toJSON,
		"base64": func(s string) string { return base64.StdEncoding.EncodeToString([]byte(s)) },
		"when":   func(at time.Time) string { return words.When(at, at.AddDate(0, 0, 1)) }, // with its weekday: a template does not know today
		"secret": func(name string) (string, error) {
			if s, ok := secrets[name]; ok {
				return string(s), nil
			}
			return "", fmt.Errorf("there is no %q under secrets", name)
		},
	}
}

// toJSON writes any value as JSON, fit for a JSON body.
func toJSON(v any) (string, error) {
	body, err := json.Marshal(v)
	return string(body), err
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

// Fault is what is wrong with one part of a webhook.
type Fault struct {
	Part string // as the config calls it: url, secret, method, content_type, body, headers.NAME
	Line int    // of the part's text, from 1; 0: of the part as a whole
	Text string
}

// Error is the fault in one line.
func (f Fault) Error() string {
	if f.Line == 0 {
		return f.Part + ": " + f.Text
	}
	return fmt.Sprintf("%s, line %d: %s", f.Part, f.Line, f.Text)
}

// templateError is how text/template words an error: where, and what.
var templateError = regexp.MustCompile(`(?s)^template: .*?:(\d+)(?::\d+)?: (?:executing "[^"]*" at )?(.*)$`)

// fault says which line of a template is wrong.
func fault(name string, err error) error {
	var already Fault
	if errors.As(err, &already) {
		return already
	}
	found := templateError.FindStringSubmatch(err.Error())
	if found == nil {
		return Fault{Part: name, Text: err.Error()}
	}
	line, err := strconv.Atoi(found[1])
	if err != nil {
		line = 0
	}
	return Fault{Part: name, Line: line, Text: named(found[2])}
}

// noField is how text/template says that there is no such name.
var noField = regexp.MustCompile(`can't evaluate field (\w+) in type \S+`)

// named says of a name that there is none, in place of the type it was looked for in, and which one may be meant.
func named(text string) string {
	found := noField.FindStringSubmatch(text)
	if found == nil {
		return text
	}
	names := map[string]string{}
	for _, f := range reflect.VisibleFields(reflect.TypeFor[Data]()) {
		names[strings.ToLower(f.Name)] = f.Name
	}
	mend := "write one such as {{.Text}}, {{.Headline}} or {{.JSON}}"
	if near := detect.Nearest(strings.ToLower(found[1]), slices.Sorted(maps.Keys(names))); near != "" {
		mend = fmt.Sprintf("did you mean %q?", names[near])
	}
	return strings.Replace(text, found[0], fmt.Sprintf("there is no %q: %s", found[1], mend), 1)
}
