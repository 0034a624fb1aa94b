package ingest

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPatternsMatch(t *testing.T) {
	for _, c := range []struct {
		pattern, topic string
		want           place
		ok             bool
	}{
		{"cellar/{tank}/{probe}", "cellar/FV3/hyd-1", place{tank: "FV3", probe: "hyd-1"}, true},
		{"cellar/{tank}/{probe}", "cellar/FV3", place{}, false},
		{"cellar/{tank}/{probe}", "cellar/FV3/hyd-1/x", place{}, false},
		{"cellar/{tank}/{probe}", "cellar/FV3/hyd-1/", place{}, false},
		{"cellar/{tank}/{probe}", "/cellar/FV3/hyd-1", place{}, false},
		{"cellar/{tank}/{probe}", "", place{}, false},
		{"cellar/{tank}/{probe}", "cellar//", place{}, true},
		{"/p/+/{quantity}", "/p/anything/gravity", place{quantity: "gravity"}, true},
		{"dev-{probe}.up/{tank}", "dev-7.up/FV1", place{tank: "FV1", probe: "7"}, true},
		{"dev-{probe}.up/{tank}", "dev.up/FV1", place{}, false},
		{"a{probe}a", "a", place{}, false},
	} {
		p, err := parsePattern(c.pattern)
		require.NoError(t, err)
		got, ok := p.match(c.topic)
		assert.Equal(t, c.ok, ok, "%s %s", c.pattern, c.topic)
		assert.Equal(t, c.want, got, "%s %s", c.pattern, c.topic)
	}
}

func TestSubscriptions(t *testing.T) {
	d := newDecoder(t, DecoderOptions{})
	assert.Equal(t, []string{"cellar/+/+", "cellar/+/+/+"}, d.Topics())
	assert.Equal(t, []string{"cellar/{tank}/log", "cellar/{tank}/{probe}", "cellar/{tank}/{probe}/{quantity}", NoSource}, d.Patterns())

	d = newDecoder(t, DecoderOptions{Sources: []Source{
		{Topic: "plant/{tank}/dens/{probe}"}, {Topic: "plant/{tank}/+/{probe}"}, {Topic: "cellar/FV9/{probe}", Tank: "FV9"}, {Topic: "dev-{probe}", Tank: "FV1"},
	}})
	assert.Equal(t, []string{"plant/+/+/+", "+", "cellar/+/+", "cellar/+/+/+"}, d.Topics())
}

func TestSourcesOfTheConfigComeFirst(t *testing.T) {
	d := newDecoder(t, DecoderOptions{Sources: []Source{{Topic: "cellar/FV9/{probe}", Tank: "FV8"}}})
	out := d.Decode(Message{Topic: "cellar/FV9/hyd-1", Payload: []byte(`{"gravity":1.01}`)}, noon)
	require.Len(t, out.Readings, 1)
	assert.Equal(t, "FV8", out.Readings[0].Tank)
	assert.Equal(t, "cellar/FV9/{probe}", out.Source)
}
