package ingest

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"spile/ingest/journal"
)

const captureTime = "2006-01-02T15:04:05.000Z07:00" // RFC 3339, to the millisecond

// captureWriter writes what the journal took as a capture: NDJSON, a message
// a line in the journal's order, refused ones and repeats included, so that a
// replay hears what spile heard.
//
//	{"time":"2026-03-02T01:15:00.000Z","topic":"cellar/FV3/hyd-1","payload":{"gravity":1.0118}}
//
// The payload stands as it came, less white space outside of strings, where it
// is a JSON object, array, number or literal, and as a JSON string of its text
// otherwise. `"retained":true` marks a message that the broker had kept.
type captureWriter struct {
	to   io.Writer
	line bytes.Buffer // lines not yet written
}

// write adds a committed batch by one call of the underlying writer.
func (c *captureWriter) write(b *batch) (failed error) {
	for _, p := range b.parts {
		if p.job.entries == nil {
			m := p.job.message
			m.Arrived = p.arrived
			c.add(m)
			continue
		}
		for _, e := range b.entries[p.from:p.to] {
			failed = errors.Join(failed, c.addEvent(e))
		}
	}
	return errors.Join(failed, c.flush())
}

func (c *captureWriter) flush() error {
	_, err := c.to.Write(c.line.Bytes())
	c.line.Reset()
	return err
}

// addEvent adds an event that a person logged past MQTT as the message that
// would have brought it.
func (c *captureWriter) addEvent(e journal.Entry) error {
	if e.Event == nil {
		return nil
	}
	body, err := json.Marshal(e.Event)
	if err != nil {
		return fmt.Errorf("event %s of %s: %w", e.Event.Name, e.Event.Tank, err)
	}
	c.add(Message{Topic: "cellar/" + e.Event.Tank + "/log", Payload: body, Arrived: e.Arrived})
	return nil
}

func (c *captureWriter) add(m Message) {
	fmt.Fprintf(&c.line, `{"time":"%s","topic":%s`, m.Arrived.UTC().Format(captureTime), quote(m.Topic))
	if m.Retained {
		c.line.WriteString(`,"retained":true`)
	}
	c.line.WriteString(`,"payload":`)
	c.addPayload(m.Payload)
	c.line.WriteString("}\n")
}

// addPayload adds the payload. A JSON string is quoted once more: what is a
// string in a capture is always the text of the payload.
func (c *captureWriter) addPayload(payload []byte) {
	before := c.line.Len()
	text := bytes.TrimLeft(payload, " \t\r\n")
	if len(text) > 0 && text[0] != '"' && json.Compact(&c.line, payload) == nil {
		return
	}
	c.line.Truncate(before)
	c.line.Write(quote(string(payload)))
}

// quote is text as JSON; bytes that are not UTF-8 become U+FFFD.
func quote(text string) []byte {
	quoted, _ := json.Marshal(text) // a string always marshals
	return quoted
}
