package main

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(b []byte) (int, error) { return f(b) }

func TestReceivePrintsWhatAWebhookSends(t *testing.T) {
	said, write := make(chan string, 10), writerFunc(nil)
	write = func(b []byte) (int, error) { said <- string(b); return len(b), nil }
	ended := make(chan error, 1)
	c := receiveCommand{Listen: "127.0.0.1:0", Count: 2}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	go func() { ended <- c.Run(ctx, &streams{out: write, err: write}) }()
	url := address.FindString(<-said)
	require.NotEmpty(t, url)
	for _, body := range []string{`{"tank":"FV3"}`, "FV3: warm"} {
		request, err := http.NewRequestWithContext(ctx, http.MethodPost, url+"/knock", strings.NewReader(body))
		require.NoError(t, err)
		request.Header.Set("webhook-id", "msg_1")
		answer, err := http.DefaultClient.Do(request)
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		assert.Equal(t, http.StatusNoContent, answer.StatusCode)
	}
	assert.Equal(t, "POST /knock msg_1\n{\n  \"tank\": \"FV3\"\n}\n\n", <-said)
	assert.Equal(t, "POST /knock msg_1\nFV3: warm\n\n", <-said)
	require.NoError(t, <-ended, "two were enough")
}
