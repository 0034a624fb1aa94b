package ingest

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"
)

const (
	captureLine  = 1 << 20 // bytes; the longest payload taken fits, whatever its escapes
	badLinesKept = 20
)

// BadLine is a line of a capture that could not be read.
type BadLine struct {
	Line   int // from 1
	Reason string
}

// String gives the line as people look for it.
func (b BadLine) String() string { return fmt.Sprintf("line %d: %s", b.Line, b.Reason) }

// CaptureReader reads a capture message by message. A bad line is counted and
// passed over, an empty one passed over.
type CaptureReader struct {
	from  *bufio.Reader
	line  int
	bad   int
	first []BadLine
}

// NewCaptureReader reads a capture from r.
func NewCaptureReader(r io.Reader) *CaptureReader {
	return &CaptureReader{from: bufio.NewReaderSize(r, captureLine)}
}

// Next gives the next message, with its arrival, and io.EOF after the last.
// Any other error is the underlying reader's.
func (c *CaptureReader) Next() (Message, error) {
	for {
		line, err := c.next()
		if err != nil {
			return Message{}, err
		}
		if line == nil {
			continue
		}
		m, err := parseCaptureLine(line)
		if err == nil {
			return m, nil
		}
		c.count(err.Error())
	}
}

// Bad tells how many lines could not be read, and which the first were.
func (c *CaptureReader) Bad() (count int, first []BadLine) { return c.bad, c.first }

func (c *CaptureReader) count(reason string) {
	c.bad++
	if len(c.first) < badLinesKept {
		c.first = append(c.first, BadLine{c.line, reason})
	}
}

// next gives one line without its end; nil for an empty one and for one that
// is too long, which is counted.
func (c *CaptureReader) next() ([]byte, error) {
	line, err := c.from.ReadSlice('\n')
	if len(line) == 0 && err != nil {
		return nil, err
	}
	c.line++
	if errors.Is(err, bufio.ErrBufferFull) {
		c.count(fmt.Sprintf("longer than %d bytes", captureLine))
		return nil, c.skip()
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	if line = bytes.TrimSpace(line); len(line) == 0 {
		return nil, nil
	}
	return line, nil
}

// skip drops the rest of a line.
func (c *CaptureReader) skip() error {
	for {
		_, err := c.from.ReadSlice('\n')
		if !errors.Is(err, bufio.ErrBufferFull) {
			return err
		}
	}
}

func parseCaptureLine(line []byte) (Message, error) {
	var l struct {
		Time     string          `json:"time"`
		Topic    string          `json:"topic"`
		Retained bool            `json:"retained"`
		Payload  json.RawMessage `json:"payload"`
	}
	if err := json.Unmarshal(line, &l); err != nil {
		return Message{}, fmt.Errorf(`%w: a line is {"time":"…","topic":"…","payload":…}`, err)
	}
	at, err := time.Parse(time.RFC3339, l.Time)
	switch {
	case err != nil:
		return Message{}, fmt.Errorf("time %q: write the arrival as RFC 3339, such as 2026-03-02T01:15:00Z", l.Time)
	case l.Topic == "":
		return Message{}, errors.New("no topic: write the one the message came on")
	case l.Payload == nil:
		return Message{}, errors.New(`no payload: write "" for an empty one`)
	}
	payload := []byte(l.Payload)
	if payload[0] == '"' {
		var text string
		if err := json.Unmarshal(l.Payload, &text); err != nil {
			return Message{}, fmt.Errorf("payload: %w", err)
		}
		payload = []byte(text)
	}
	return Message{Topic: l.Topic, Payload: payload, Retained: l.Retained, Arrived: at.UTC().Truncate(time.Millisecond)}, nil
}
