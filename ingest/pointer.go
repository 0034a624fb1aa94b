package ingest

import (
	"fmt"
	"strconv"
	"strings"
)

// pointer is a JSON Pointer (RFC 6901): the way to one value in a JSON text.
type pointer []string

// unescape undoes ~1 before ~0, as RFC 6901 section 4 asks: "~01" is "~1", not "/".
func unescape(token string) string {
	return strings.ReplaceAll(strings.ReplaceAll(token, "~1", "/"), "~0", "~")
}

// parsePointer reads a pointer such as /d/0/val. The empty one means the whole text.
func parsePointer(text string) (pointer, error) {
	if text == "" {
		return pointer{}, nil
	}
	if !strings.HasPrefix(text, "/") {
		return nil, fmt.Errorf("%q: a JSON Pointer begins with a slash: write %q", text, "/"+text)
	}
	var p pointer
	for token := range strings.SplitSeq(text[1:], "/") {
		for i := range len(token) {
			if token[i] == '~' && (i+1 == len(token) || token[i+1] != '0' && token[i+1] != '1') {
				return nil, fmt.Errorf("%q: a ~ is written ~0 and a slash within a key ~1 (RFC 6901)", text)
			}
		}
		p = append(p, unescape(token))
	}
	return p, nil
}

// find returns the value that the pointer leads to in a document decoded by
// encoding/json, and whether there is one.
func (p pointer) find(document any) (any, bool) {
	for _, token := range p {
		switch node := document.(type) {
		case map[string]any:
			value, ok := node[token]
			if !ok {
				return nil, false
			}
			document = value
		case []any:
			i, ok := index(token)
			if !ok || i >= len(node) {
				return nil, false
			}
			document = node[i]
		default:
			return nil, false
		}
	}
	return document, true
}

// index reads a place in a list: digits without leading zeros. "-", the place
// past the end, has no value.
func index(token string) (int, bool) {
	if token == "" || len(token) > 1 && token[0] == '0' || strings.Trim(token, "0123456789") != "" {
		return 0, false
	}
	i, err := strconv.Atoi(token)
	return i, err == nil
}
