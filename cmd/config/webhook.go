package config

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"go.yaml.in/yaml/v4"

	"spile/detect"
	"spile/ingest"
)

func (r *reader) webhook(c *Config) func(at string, n *yaml.Node) {
	return func(at string, n *yaml.Node) {
		w := Webhook{Priority: detect.High, Method: http.MethodPost, Road: Road{Timeout: defaultTimeout}}
		before, bodyLine := len(r.faults), 0
		r.mapping(r.road(r.secretAddresses(map[string]take{
			"name":         value(r, &w.Name, named),
			"secret_file":  value(r, &w.Signing, r.secret),
			"secret_env":   value(r, &w.Signing, environment),
			"priority":     value(r, &w.Priority, oneOf(detect.Critical, detect.High, detect.Medium, detect.Low)),
			"hours":        optional(r, &w.Hours, clockHours),
			"days":         value(r, &w.Days, weekdays),
			"repeat":       value(r, &w.Repeat, span(time.Minute, day)),
			"then":         value(r, &w.Then, named),
			"after":        value(r, &w.After, span(time.Minute, day)),
			"report":       optional(r, &w.Report, timeOfDay),
			"method":       value(r, &w.Method, method),
			"content_type": value(r, &w.ContentType, plain),
			"headers":      r.headers(&w),
			"secrets":      r.secrets(&w),
			"body": func(at string, n *yaml.Node) {
				bodyLine = firstLine(n)
				value(r, &w.Body, verbatim)(at, n)
			},
		}, &w.URL), &w.Road))(at, n)
		r.needs(at, n, "name")
		r.oneGiven(at, n, "url", "url_file", "url_env")
		if len(r.faults) == before {
			r.rehearse(at, n, w, bodyLine)
		}
		c.Webhooks = append(c.Webhooks, w)
	}
}

// method reads an HTTP method, or a template that makes one.
func method(text string) (string, error) {
	if strings.Contains(text, "{{") {
		return text, nil
	}
	return oneOf(http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodGet)(strings.ToUpper(text))
}

// headers reads the headers of a webhook.
func (r *reader) headers(w *Webhook) take {
	return func(at string, n *yaml.Node) {
		w.Headers = map[string]string{}
		r.members(at, n, func(key string, name, body *yaml.Node) {
			var text string
			value(r, &text, plain)(key, body)
			if strings.ContainsAny(text, "\r\n") || strings.ContainsAny(name.Value, " :\r\n") {
				r.fault(name, "%s: a header is one word and one line: mend %q", at, name.Value)
				return
			}
			w.Headers[name.Value] = text
		})
	}
}

// dayNames are the days as they are written. The order is time.Weekday's.
var dayNames = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

// weekdays reads days and stretches of days: "sat, sun" or "mon-fri".
func weekdays(text string) ([]time.Weekday, error) {
	var days []time.Weekday
	for part := range strings.SplitSeq(text, ",") {
		first, last, stretch := strings.Cut(strings.ToLower(strings.TrimSpace(part)), "-")
		if !stretch {
			last = first
		}
		from, to := slices.Index(dayNames, strings.TrimSpace(first)), slices.Index(dayNames, strings.TrimSpace(last))
		if from < 0 || to < 0 {
			return nil, fmt.Errorf("%q: write days such as sat, sun or mon-fri", text)
		}
		for d := from; ; d = (d + 1) % len(dayNames) {
			if !slices.Contains(days, time.Weekday(d)) {
				days = append(days, time.Weekday(d))
			}
			if d == to {
				break
			}
		}
	}
	return days, nil
}

// checkWebhooks holds the webhooks against each other.
func (r *reader) checkWebhooks(c *Config) {
	first := map[string]int{}
	for i, w := range c.Webhooks {
		at := fmt.Sprintf("webhooks.%d", i)
		if j, twice := first[w.Name]; twice && w.Name != "" {
			r.faultAt(at+".name", "the webhooks %d and %d are both called %q: give each its own name", j+1, i+1, w.Name)
		}
		first[w.Name] = i
		if (w.Then == "") != (w.After == 0) {
			r.faultAt(at, "webhook %q: then and after belong together: who is told, and after how long", w.Name)
		}
	}
	for i, w := range c.Webhooks {
		if _, known := first[w.Then]; w.Then != "" && (!known || w.Then == w.Name) {
			r.faultAt(fmt.Sprintf("webhooks.%d.then", i), "webhook %q: then: %s is no other webhook here", w.Name, w.Then)
		}
	}
}

// source reads a mapping of foreign JSON.
func (r *reader) source(c *Config) func(at string, n *yaml.Node) {
	return func(at string, n *yaml.Node) {
		s := ingest.Source{}
		fields := map[string]take{"time": func(at string, n *yaml.Node) {
			r.mapping(map[string]take{
				"at":   value(r, &s.Time, verbatim),
				"unit": value(r, &s.TimeUnit, plain),
			})(at, n)
			r.needs(at, n, "at")
		}}
		for _, q := range detect.Quantities() {
			fields[string(q)] = r.field(&s, q)
		}
		for name, pointer := range map[string]*string{"battery": &s.Battery, "signal": &s.Signal} {
			fields[name] = func(at string, n *yaml.Node) {
				r.mapping(map[string]take{"at": value(r, pointer, verbatim)})(at, n)
				r.needs(at, n, "at")
			}
		}
		before := len(r.faults)
		r.mapping(map[string]take{
			"topic":  value(r, &s.Topic, plain),
			"tank":   value(r, &s.Tank, named),
			"probe":  value(r, &s.Probe, named),
			"fields": r.mapping(fields),
		})(at, n)
		if len(r.faults) > before {
			return
		}
		if err := ingest.CheckSource(s); err != nil {
			r.fault(n, "%s: %v", at, err)
			return
		}
		c.Sources = append(c.Sources, s)
	}
}

// field reads where a quantity stands. An empty pointer, the whole payload, is
// written "".
func (r *reader) field(s *ingest.Source, q detect.Quantity) take {
	return func(at string, n *yaml.Node) {
		var f ingest.Field
		r.mapping(map[string]take{
			"at": func(at string, n *yaml.Node) {
				if n = resolved(n); n.Kind != yaml.ScalarNode || isNull(n) {
					r.fault(n, "%s is %s: write a JSON Pointer such as /d/0/val", at, described(n))
					return
				}
				f.At = n.Value
			},
			"unit": value(r, &f.Unit, plain),
		})(at, n)
		r.needs(at, n, "at")
		if s.Fields == nil {
			s.Fields = map[detect.Quantity]ingest.Field{}
		}
		s.Fields[q] = f
	}
}
