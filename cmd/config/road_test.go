package config_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/cmd/config"
)

func TestATemplateFaultHasTheLineOfTheFile(t *testing.T) {
	const hook = "site: a\nwebhooks:\n  - name: phone\n    url: https://push.example/kn0ck\n"
	for _, row := range []struct{ name, more, want string }{
		{"a body line by line", "    body: |\n      {{.Tank}}\n      {{.Nonsense}}\n", "spile.yaml:7: webhooks.0.body: <.Nonsense>: there is no \"Nonsense\": write one such as {{.Text}}"},
		{"a body that is not closed", "    body: |-\n\n      {{if .Tank}}\n", "spile.yaml:7: webhooks.0.body: unexpected EOF"},
		{"a body in one line", "    priority: low\n    body: '{{.Nonsense}}'\n", "spile.yaml:6: webhooks.0.body: <.Nonsense>"},
		{"a header", "    headers:\n      A: b\n      X-Title: '{{.Titel}}'\n", "spile.yaml:7: webhooks.0.headers.X-Title: <.Titel>"},
		{"a method", "    method: '{{.Tank}} now'\n", `spile.yaml:5: webhooks.0.method: "TEST NOW" is no method`},
		{"a content type", "    content_type: '{{'\n", "spile.yaml:5: webhooks.0.content_type: unclosed action"},
		{"a signing key", "    secret_file: token\n", "spile.yaml:5: webhooks.0.secret_file: the secret is base64"},
		{"a secret nobody gave", "    body: '{{secret \"key\"}}'\n", `there is no "key" under secrets`},
		{"a secret in two places", "    secrets: {key: {file: token, env: HOME}}\n", "webhooks.0.secrets.key needs file or env, one of them"},
		{"a secret without a place", "    secrets: {key: {}}\n", "webhooks.0.secrets.key needs file or env, one of them"},
		{"a secret in the open", "    secrets: {key: t0ken}\n", "webhooks.0.secrets.key: write where the secret is: {file: PATH} or {env: NAME}"},
		{"a variable that is not set", "    secrets: {key: {env: SPILE_NOWHERE}}\n", "the environment has no SPILE_NOWHERE"},
		{"a proxy with a password", "    proxy: http://a:b@proxy.lan\n", "has a user or a password in it"},
		{"certificates that are none", "    ca_file: cert.pem\n", "no certificate in PEM form is in it"},
		{"an address of a template alone", "    url_env: SPILE_NOWHERE\n", "needs url, url_file or url_env, one of them"},
	} {
		t.Run(row.name, func(t *testing.T) {
			_, err := load(t, hook+row.more)
			require.ErrorContains(t, err, row.want)
			assert.NotContains(t, err.Error(), "kn0ck")
			assert.NotContains(t, err.Error(), "t0ken")
		})
	}
}

func TestSecretsComeFromTheEnvironmentToo(t *testing.T) {
	t.Setenv("SPILE_TEST_URL", "https://push.example/send?text={{urlquery .Text}}&key={{secret \"key\"}}\n")
	t.Setenv("SPILE_TEST_SIGNING", signing)
	t.Setenv("SPILE_TEST_KEY", "k3y")
	t.Setenv("SPILE_TEST_BEAT", "https://watch.example/b3at")
	c, err := load(t, "heartbeat: {url_env: SPILE_TEST_BEAT, timeout: 5s, proxy: 'socks5://proxy.lan:1080', ca_file: ca.pem}\n"+
		"webhooks: [{name: sms, method: get, url_env: SPILE_TEST_URL, secret_env: SPILE_TEST_SIGNING, secrets: {key: {env: SPILE_TEST_KEY}}}]")
	require.NoError(t, err)
	assert.Equal(t, config.Secret("k3y"), c.Webhooks[0].Secrets["key"])
	assert.Equal(t, config.Secret("https://watch.example/b3at"), c.Heartbeat.URL)
	beat := c.Heartbeat.Target()
	assert.Equal(t, "socks5://proxy.lan:1080", beat.Proxy.String())
	assert.NotNil(t, beat.CAs)
	assert.Empty(t, c.Webhooks[0].Target().Faults())
}
