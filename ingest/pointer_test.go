package ingest

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The document and the table of RFC 6901, section 5.
const rfc6901 = `{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}`

func TestPointersOfRFC6901(t *testing.T) {
	var document any
	require.NoError(t, json.Unmarshal([]byte(rfc6901), &document))
	for text, want := range map[string]any{
		"": document, "/foo": []any{"bar", "baz"}, "/foo/0": "bar", "/": 0.0, "/a~1b": 1.0, "/c%d": 2.0, "/e^f": 3.0,
		"/g|h": 4.0, `/i\j`: 5.0, `/k"l`: 6.0, "/ ": 7.0, "/m~0n": 8.0,
	} {
		p, err := parsePointer(text)
		require.NoError(t, err, text)
		got, found := p.find(document)
		assert.True(t, found, text)
		assert.Equal(t, want, got, text)
	}
}

func TestPointersThatLeadNowhere(t *testing.T) {
	var document any
	require.NoError(t, json.Unmarshal([]byte(rfc6901), &document))
	for _, text := range []string{"/foo/2", "/foo/-", "/foo/00", "/foo/01", "/foo/+1", "/foo/", "/foo/0/x", "/bar", "//", "/foo/99999999999999999999"} {
		p, err := parsePointer(text)
		require.NoError(t, err, text)
		_, found := p.find(document)
		assert.False(t, found, text)
	}
}

func TestPointerEscapesAreUndoneInOrder(t *testing.T) {
	p, err := parsePointer("/~01/x~10")
	require.NoError(t, err)
	assert.Equal(t, pointer{"~1", "x/0"}, p)
}

func TestBadPointers(t *testing.T) {
	for _, text := range []string{"foo", "#/foo", "/a~", "/a~2b", "/~/b"} {
		_, err := parsePointer(text)
		assert.Error(t, err, text)
	}
	_, err := parsePointer("d/0/val")
	assert.ErrorContains(t, err, `write "/d/0/val"`)
}
