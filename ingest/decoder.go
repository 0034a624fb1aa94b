package ingest

import (
	"fmt"
	"slices"
	"time"

	"spile/detect"
)

// MaxPayload is the longest payload that is read, in bytes.
const MaxPayload = 64 << 10

// Message is one message as it came.
type Message struct {
	Topic    string
	Payload  []byte
	Retained bool      // published with the retain flag, or kept by the broker from before
	Arrived  time.Time // zero: the intake stamps it
}

// Source maps topics and payloads that do not follow spile's own form.
type Source struct {
	Topic  string // pattern such as plant/{tank}/dens/{probe}; {quantity} and + may stand in it
	Tank   string // where the topic does not name it
	Probe  string // likewise
	Fields map[detect.Quantity]Field
	Time   string // JSON Pointer to the time; empty: the arrival
	// Battery and Signal are JSON Pointers to what the probe says of itself, in whole percent and dBm; empty: it does not.
	Battery, Signal string
	// TimeUnit of a time that is a number: "s" (or empty) or "ms", since 1970.
	TimeUnit string
}

// Field is where a foreign payload holds a value.
type Field struct {
	At   string // JSON Pointer
	Unit string // of the value; empty: the inside unit
}

// Decoded is what a message held.
type Decoded struct {
	Source   string // pattern of the source that took it, or NoSource
	Readings []detect.Reading
	Events   []detect.Event
	Refusals []Refusal
	stamina  Stamina // of the probe
}

// DecoderOptions say what a decoder knows beside spile's own topics.
type DecoderOptions struct {
	Sources []Source
	Probes  map[string]Correction // by the probe's name
}

// Decoder finds out what a message means. It is safe for any number of callers.
type Decoder struct {
	sources []source
	probes  map[string]Correction
}

// source is a pattern with the way to read what comes there.
type source struct {
	pattern
	tank, probe string // where the pattern has no place for them
	read        func(*hearing)
}

// The topics that spile listens to without a config. The cellar log comes
// first, for "log" would pass as a probe's name.
const (
	logTopic      = "cellar/{tank}/log"
	probeTopic    = "cellar/{tank}/{probe}"
	quantityTopic = "cellar/{tank}/{probe}/{quantity}"
)

// NewDecoder makes a decoder; its error names the source that is wrong.
func NewDecoder(options DecoderOptions) (*Decoder, error) {
	d := &Decoder{probes: options.Probes}
	for i, s := range options.Sources {
		compiled, err := compile(s)
		if err != nil {
			return nil, fmt.Errorf("source %d: %w", i+1, err)
		}
		d.sources = append(d.sources, compiled)
	}
	for _, own := range []struct {
		topic string
		read  func(*hearing)
	}{{logTopic, (*hearing).readLog}, {probeTopic, (*hearing).readOwn}, {quantityTopic, (*hearing).readOwn}} {
		p, err := parsePattern(own.topic)
		if err != nil {
			return nil, err
		}
		d.sources = append(d.sources, source{pattern: p, read: own.read})
	}
	return d, nil
}

// CheckSource tells what is wrong with a source, without making a decoder.
func CheckSource(s Source) error {
	_, err := compile(s)
	return err
}

// compile checks a source and makes its reader. Without fields it is spile's
// own payloads on another topic.
func compile(s Source) (source, error) {
	p, err := parsePattern(s.Topic)
	if err != nil {
		return source{}, err
	}
	if err := named(p, s); err != nil {
		return source{}, err
	}
	compiled := source{pattern: p, tank: s.Tank, probe: s.Probe, read: (*hearing).readOwn}
	if len(s.Fields) == 0 {
		if s.Battery != "" || s.Signal != "" {
			return source{}, fmt.Errorf("topic %q: battery or signal without a field: name gravity, temperature or pressure", s.Topic)
		}
		if s.Time != "" || s.TimeUnit != "" {
			return source{}, fmt.Errorf("topic %q: a time without a field: name gravity, temperature or pressure", s.Topic)
		}
		return compiled, nil
	}
	m, err := compileMapping(s)
	if err != nil {
		return source{}, fmt.Errorf("topic %q: %w", s.Topic, err)
	}
	compiled.read = m.read
	return compiled, nil
}

// named sees to it that tank and probe are known, and known once.
func named(p pattern, s Source) error {
	for _, n := range []struct{ name, fixed string }{{nameTank, s.Tank}, {nameProbe, s.Probe}} {
		switch {
		case p.has(n.name) && n.fixed != "":
			return fmt.Errorf("topic %q has {%s}, so leave out %s: %s", s.Topic, n.name, n.name, n.fixed)
		case !p.has(n.name) && n.fixed == "":
			return fmt.Errorf("topic %q has no {%s}: put it in, or give %s: NAME beside the topic", s.Topic, n.name, n.name)
		case n.fixed != "" && !detect.ValidName(n.fixed):
			return fmt.Errorf("%s %q: %s", n.name, n.fixed, detect.NameRule)
		}
	}
	return nil
}

// Topics lists the MQTT topic filters to subscribe to. One that another covers
// is left out, so that a broker does not deliver a message twice.
func (d *Decoder) Topics() []string {
	var filters []string
	for i := range d.sources {
		filter := d.sources[i].filter()
		if slices.ContainsFunc(filters, func(have string) bool { return covers(have, filter) }) {
			continue
		}
		filters = slices.DeleteFunc(filters, func(have string) bool { return covers(filter, have) })
		filters = append(filters, filter)
	}
	return filters
}

// Patterns lists the patterns that Decoded.Source can bear, NoSource last.
func (d *Decoder) Patterns() []string {
	var names []string
	for i := range d.sources {
		if !slices.Contains(names, d.sources[i].text) {
			names = append(names, d.sources[i].text)
		}
	}
	return append(names, NoSource)
}

// Tank is the tank that a topic, or a filter for topics, belongs to; empty where
// it belongs to none, or to more than one.
func (d *Decoder) Tank(topic string) string {
	h := hearing{decoder: d, message: Message{Topic: topic}}
	if h.route() == nil || !detect.ValidName(h.place.tank) {
		return ""
	}
	return h.place.tank
}

// hearing is one message while it is being read.
type hearing struct {
	decoder *Decoder
	message Message
	arrived time.Time
	place   place
	out     Decoded
}

// Decode reads a message that arrived at the given time. It never fails: what
// cannot be taken is among the refusals.
func (d *Decoder) Decode(m Message, arrived time.Time) Decoded {
	h := hearing{decoder: d, message: m, arrived: arrived.UTC().Truncate(time.Millisecond), out: Decoded{Source: NoSource}}
	s := h.route()
	switch {
	case s == nil:
		h.refuse(ReasonBadTopic, "no source fits this topic: publish on %s, or map it in the config under sources", probeTopic)
	case m.Retained && len(m.Payload) == 0: // clears a retained message and says nothing
	case len(m.Payload) > MaxPayload:
		h.refuse(ReasonTooLarge, "%d bytes: send at most %d, in several messages", len(m.Payload), MaxPayload)
	case h.placed():
		s.read(&h)
		h.correct()
	}
	return h.out
}

// route finds the source of the message, nil where none fits.
func (h *hearing) route() *source {
	for i := range h.decoder.sources {
		s := &h.decoder.sources[i]
		found, ok := s.match(h.message.Topic)
		if !ok {
			continue
		}
		if s.tank != "" {
			found.tank = s.tank
		}
		if s.probe != "" {
			found.probe = s.probe
		}
		h.place, h.out.Source = found, s.text
		return s
	}
	return nil
}

// placed checks the names that the topic holds.
func (h *hearing) placed() bool {
	before := len(h.out.Refusals)
	if !detect.ValidName(h.place.tank) {
		h.refuse(ReasonBadTopic, "tank %q: %s", printable(h.place.tank), detect.NameRule)
	}
	if h.out.Source != logTopic && !detect.ValidName(h.place.probe) {
		h.refuse(ReasonBadTopic, "probe %q: %s", printable(h.place.probe), detect.NameRule)
	}
	if h.out.Source == quantityTopic && h.place.probe == "log" {
		h.refuse(ReasonBadTopic, `no probe is called "log": the cellar log comes on %s`, logTopic)
	}
	if q := h.place.quantity; q != "" && !slices.Contains(detect.Quantities(), detect.Quantity(q)) {
		h.refuse(ReasonBadTopic, "quantity %q: publish gravity, temperature or pressure", printable(q))
	}
	return len(h.out.Refusals) == before
}
