package config_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/cmd/config"
)

func TestWarnings(t *testing.T) {
	c, err := load(t, whole)
	require.NoError(t, err)
	all := strings.Join(c.Warnings(), "\n")
	assert.Contains(t, all, "relief not given: over-pressure is NOT watched for FV.4")
	assert.NotContains(t, all, "FV3")
	assert.NotContains(t, all, "acknowledge link")
	assert.Contains(t, all, "spile.yaml:24: tanks.FV.4.gas-group: no other tank is in group left, so nothing is joined")

	c, err = load(t, "mqtt: {listen: 0.0.0.0:1883, anonymous: true}\nhttp: {listen: 0.0.0.0:1, anonymous: true}\nwebhooks: [{name: a, url: 'https://a', headers: {hours: x}}]")
	require.NoError(t, err)
	all = strings.Join(c.Warnings(), "\n")
	assert.Contains(t, all, "http.public not set: messages carry no acknowledge link")
	assert.Contains(t, all, "whoever reaches the port can publish")
	assert.Contains(t, all, "nobody needs a token")

	c, err = load(t, "http: {public: 'https://cellar.example'}")
	require.NoError(t, err)
	assert.Contains(t, strings.Join(c.Warnings(), "\n"), "nobody can write the log or acknowledge")
	assert.Contains(t, strings.Join(config.Default().Warnings(), "\n"), "nobody is woken")
}

func TestHoursThatNobodyCovers(t *testing.T) {
	for hooks, want := range map[string]string{
		"{name: a, url: 'https://a'}":                     "",
		"{name: a, url: 'https://a', hours: 18:00-07:00}": "such as Mon 07:00",
		"{name: a, url: 'https://a', hours: 18:00-07:00}, {name: b, url: 'https://b', hours: 07:00-18:00}":            "",
		"{name: a, url: 'https://a', hours: 18:00-07:00}, {name: b, url: 'https://b', hours: 07:00-17:59}":            "such as Mon 17:59",
		"{name: a, url: 'https://a', days: mon-fri}":                                                                  "such as Sat 00:00",
		"{name: a, url: 'https://a', hours: 18:00-07:00}, {name: b, url: 'https://b', hours: 07:00-18:00, days: sat}": "such as Mon 07:00",
	} {
		c, err := load(t, "webhooks: ["+hooks+"]")
		require.NoError(t, err)
		all := strings.Join(c.Warnings(), "\n")
		if want == "" {
			assert.NotContains(t, all, "an alarm then waits", hooks)
		} else {
			assert.Contains(t, all, want, hooks)
		}
		assert.Contains(t, all, "no webhook of priority low", hooks)
	}
	c, err := load(t, "webhooks: [{name: a, url: 'https://a', priority: low}]")
	require.NoError(t, err)
	assert.NotContains(t, strings.Join(c.Warnings(), "\n"), "priority low")
}
