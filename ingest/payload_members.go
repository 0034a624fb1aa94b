package ingest

import (
	"bytes"
	"encoding/json"
	"strings"
)

// members walks over the members of a JSON object that is known to be valid,
// and hands out keys and values as they stand, without decoding them: probes
// send one small object over and over, and most of the time went into maps.
type members struct {
	text []byte
	at   int
}

// next returns the next key, unquoted, and its value, still JSON.
func (m *members) next() (key, value []byte, more bool) {
	m.skip(" \t\r\n,{")
	if m.at >= len(m.text) || m.text[m.at] != '"' {
		return nil, nil, false
	}
	quoted := m.str()
	m.skip(" \t\r\n:")
	value = m.value()
	if bytes.IndexByte(quoted, '\\') < 0 {
		return quoted[1 : len(quoted)-1], value, true
	}
	var unescaped string
	if err := json.Unmarshal(quoted, &unescaped); err != nil {
		return quoted, value, true // no key that spile knows
	}
	return []byte(unescaped), value, true
}

// skip goes over any of the given bytes.
func (m *members) skip(set string) {
	for m.at < len(m.text) && strings.IndexByte(set, m.text[m.at]) >= 0 {
		m.at++
	}
}

// str takes a string, quotes included.
func (m *members) str() []byte {
	start := m.at
	for m.at++; m.at < len(m.text); m.at++ {
		switch m.text[m.at] {
		case '\\':
			m.at++
		case '"':
			m.at++
			return m.text[start:m.at]
		}
	}
	return m.text[start:]
}

// value takes a value of any kind.
func (m *members) value() []byte {
	start, depth := m.at, 0
	for m.at < len(m.text) {
		switch m.text[m.at] {
		case '"':
			m.str()
			if depth == 0 {
				return m.text[start:m.at]
			}
			continue
		case '{', '[':
			depth++
		case '}', ']':
			if depth == 0 {
				return bytes.TrimRight(m.text[start:m.at], " \t\r\n")
			}
			if depth--; depth == 0 {
				m.at++
				return m.text[start:m.at]
			}
		case ',':
			if depth == 0 {
				return bytes.TrimRight(m.text[start:m.at], " \t\r\n")
			}
		}
		m.at++
	}
	return m.text[start:]
}

// plainString unquotes a JSON string that has no escapes.
func plainString(value []byte) (string, bool) {
	if len(value) < 2 || value[0] != '"' || bytes.IndexByte(value, '\\') >= 0 {
		return "", false
	}
	return string(value[1 : len(value)-1]), true
}
