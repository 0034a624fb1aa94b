package webhook

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/alert"
	"spile/detect"
)

func TestPublishedVector(t *testing.T) {
	// The vector in the tests of the Standard Webhooks reference libraries, v0.0.1.
	key, err := signingKey(testSecret)
	require.NoError(t, err)
	got := sign(key, "msg_p5jXN8AQM9LWM0D4loKWxJek", time.Unix(1614265330, 0), []byte(`{"test": 2432232314}`))
	assert.Equal(t, "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=", got)

	bare, err := signingKey(Secret(strings.TrimPrefix(testSecret, "whsec_") + "\n"))
	require.NoError(t, err, "as a file holds it")
	assert.Equal(t, key, bare)
}

func TestSignatureIsTheLibrarys(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		key := rapid.SliceOfN(rapid.Byte(), 24, 64).Draw(t, "key")
		body := rapid.SliceOf(rapid.Byte()).Draw(t, "body")
		id := rapid.StringMatching(`msg_[a-z0-9]{1,20}`).Draw(t, "id")
		at := time.Unix(rapid.Int64Range(0, 1<<33).Draw(t, "at"), 0)
		library, err := standardwebhooks.NewWebhookRaw(key)
		require.NoError(t, err)
		want, err := library.Sign(id, at, body)
		require.NoError(t, err)
		require.Equal(t, want, sign(key, id, at, body))
	})
}

func TestSecretsAreNotPrinted(t *testing.T) {
	var log strings.Builder
	w := Webhook{Name: "phone", URL: "https://push.example/token", Secret: testSecret, Secrets: map[string]Secret{"key": "t0ken"}}
	slog.New(slog.NewJSONHandler(&log, nil)).Info("x", "url", w.URL, "webhook", w)
	asJSON, err := json.Marshal(w)
	require.NoError(t, err)
	all := log.String() + string(asJSON) + fmt.Sprintf("%v %+v %#v %s %q %x %d", w, w, w, w.URL, w.URL, w.URL, w.URL)
	assert.NotContains(t, all, "token")
	assert.NotContains(t, all, "t0ken")
	assert.NotContains(t, all, "746f6b656e", "nor in hex")
	assert.NotContains(t, all, "MfKQ9r8")
	assert.Contains(t, all, "(hidden)")
}

// told is a message with words in it that templates get wrong.
func told(t *testing.T) []byte {
	body, err := alert.NewMessage(alert.Transition{
		ID: "abcd", Tank: "FV3", Alarm: detect.OverPressure, Priority: detect.Critical, Time: time.Unix(1_772_413_000, 0).UTC(),
		From: alert.Acknowledged, To: alert.Unacknowledged, Summary: `says "90 %"` + "\nand rising",
	}, nil).JSON()
	require.NoError(t, err)
	return body
}

func TestTemplates(t *testing.T) {
	target, faults := newTarget(Webhook{
		Name: "phone", URL: "https://push.example", Method: http.MethodPut,
		Headers: map[string]string{"Title": "{{.Headline}}", "X-Summary": "{{.Summary}}"},
		Body:    `{"text":{{json .Text}},"tank":{{json .Tank}},"when":{{json (when .Time)}},"all":{{.JSON}}}`,
	}, alert.Words{Zone: time.FixedZone("", 3600)}, nil)
	require.Empty(t, faults)
	out, err := target.render(told(t))
	require.NoError(t, err)
	headers := out.header
	var got struct {
		Text, Tank, When string
		All              alert.Message
	}
	require.NoError(t, json.Unmarshal(out.body, &got), string(out.body))
	assert.Equal(t, "FV3", got.Tank)
	assert.Equal(t, "Mon 01:56"[:3], got.When[:3])
	assert.Equal(t, "abcd", got.All.ID)
	assert.Contains(t, got.Text, "FV3 (critical): worse: head pressure is at or nearing the relief setting")
	assert.True(t, strings.HasPrefix(headers.Get("Title"), "FV3 (critical): worse"))
	assert.Equal(t, `says "90 %" and rising`, headers.Get("X-Summary"), "no line break gets into a header")
	assert.Equal(t, "text/plain; charset=utf-8", headers.Get("Content-Type"))
	assert.Equal(t, http.MethodPut, out.method)
}

func TestDefaultBodyIsTheObject(t *testing.T) {
	target, faults := newTarget(Webhook{Name: "phone", URL: "https://push.example", Headers: map[string]string{"Title": "{{.Tank}}"}}, alert.Words{}, nil)
	require.Empty(t, faults)
	out, err := target.render(told(t))
	require.NoError(t, err)
	assert.Equal(t, string(told(t)), string(out.body), "to the byte")
	assert.Equal(t, "application/json", out.header.Get("Content-Type"))
	assert.Equal(t, "FV3", out.header.Get("Title"))
	_, err = target.render([]byte("{"))
	require.ErrorContains(t, err, "cannot be read")
}

func TestPause(t *testing.T) {
	for _, row := range []struct {
		failures int
		age      time.Duration
		want     time.Duration
	}{
		{0, 0, time.Second},
		{1, 0, time.Second},
		{2, 0, 5 * time.Second},
		{3, 0, 15 * time.Second},
		{4, 0, time.Minute},
		{5, 2 * time.Minute, 3 * time.Minute},
		{20, 59 * time.Minute, 3 * time.Minute},
		{20, time.Hour, 5 * time.Minute},
		{30, 3 * time.Hour, 15 * time.Minute},
		{99, 48 * time.Hour, 30 * time.Minute},
		{1, 48 * time.Hour, time.Second}, // its first try came late
	} {
		assert.Equal(t, row.want, pause(row.failures, row.age, 0.5), "%+v", row)
	}
}

func TestPauseKeepsItsLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		failures := rapid.IntRange(0, 10_000).Draw(t, "failures")
		age := time.Duration(rapid.Int64Range(-int64(time.Hour), int64(10_000*time.Hour)).Draw(t, "age"))
		d := pause(failures, age, rapid.Float64Range(0, 0.999999).Draw(t, "random"))
		require.GreaterOrEqual(t, d, 900*time.Millisecond)
		require.LessOrEqual(t, d, slowest)
	})
}

func FuzzRetryAfter(f *testing.F) {
	for _, seed := range []string{"", "0", "120", "-5", "Fri, 31 Dec 1999 23:59:59 GMT", "soon", "99999999999999999999", "1e9"} {
		f.Add(seed)
	}
	now := time.Date(1999, 12, 31, 23, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, text string) {
		d := askedFor(http.Header{"Retry-After": {text}}, now)
		if d < 0 || d > longestAskedFor {
			t.Fatalf("%q gives %s", text, d)
		}
	})
}

func TestPickSendsWhatIsDueAsFarAsThereIsRoom(t *testing.T) {
	now := time.Unix(1_000_000, 0)
	rapid.Check(t, func(t *rapid.T) {
		var queues []Queue
		for i := range rapid.IntRange(0, 14).Draw(t, "queues") {
			queues = append(queues, Queue{Message: Message{
				Incident: string(rune('a' + i)),
				Attempts: rapid.IntRange(0, 3).Draw(t, "attempts"),
				Next:     now.Add(time.Duration(rapid.IntRange(-5, 5).Draw(t, "next")) * time.Second),
			}})
		}
		busy := underWay{}
		for i := range rapid.IntRange(0, abreast).Draw(t, "busy") {
			busy[string(rune('a'+2*i))] = rapid.Bool().Draw(t, "retry")
		}
		chosen, wait := pick(queues, busy, now)
		require.LessOrEqual(t, len(chosen)+len(busy), abreast)
		retries, picked := 0, map[string]bool{}
		for _, isRetry := range busy {
			retries += map[bool]int{true: 1}[isRetry]
		}
		for i, m := range chosen {
			require.False(t, m.Next.After(now))
			require.NotContains(t, busy, m.Incident, "one at a time of each incident")
			require.False(t, picked[m.Incident])
			picked[m.Incident] = true
			if m.Attempts > 0 {
				retries++
				require.LessOrEqual(t, retries, retryAbreast)
			}
			if i > 0 {
				require.LessOrEqual(t, chosen[i-1].Attempts, m.Attempts)
			}
		}
		for _, q := range queues {
			_, isBusy := busy[q.Incident]
			switch {
			case isBusy || picked[q.Incident]:
			case q.Next.After(now):
				require.Positive(t, wait)
				require.LessOrEqual(t, wait, q.Next.Sub(now))
			default:
				full := len(chosen)+len(busy) == abreast
				require.True(t, full || q.Attempts > 0 && retries >= retryAbreast, "what is due goes, where there is room")
			}
		}
	})
}

func FuzzRender(f *testing.F) {
	f.Add([]byte(`{"tank":"FV3","summary":"a\r\nEvil: 1","evidence":{"forecast":{"limit_reached":{}}}}`))
	f.Add([]byte(`{"to":"shelved","until":"2026-03-02T01:15:00Z"}`))
	f.Add([]byte("[]"))
	target, faults := newTarget(Webhook{
		Name: "phone", URL: "https://push.example/?q={{urlquery .Summary}}", Headers: map[string]string{"Title": "{{.Headline}} {{.Summary}}"}, Body: "{{.Text}}",
	}, alert.Words{}, nil)
	require.Empty(f, faults)
	f.Fuzz(func(t *testing.T, object []byte) {
		out, err := target.render(object)
		if err != nil {
			return
		}
		var wire strings.Builder
		require.NoError(t, out.header.Write(&wire))
		require.Equal(t, 3, strings.Count(wire.String(), "\r\n"), "three headers are three lines")
	})
}

// A clock that was wrong when a try failed must not keep a message for as long as it was wrong.
func TestAClockSetBackHoldsNoMessageBack(t *testing.T) {
	now := time.Unix(1_800_000_000, 0)
	for _, c := range []struct {
		next time.Time
		due  bool
	}{
		{now.Add(slowest), false},
		{now.Add(longestAskedFor), false},
		{now.Add(longestAskedFor + time.Second), true},
		{now.AddDate(1, 0, 0), true},
	} {
		chosen, wait := pick([]Queue{{Message: Message{Incident: "a", Attempts: 3, Next: c.next}}}, underWay{}, now)
		assert.Len(t, chosen, map[bool]int{true: 1}[c.due], c.next)
		if !c.due {
			assert.Equal(t, c.next.Sub(now), wait)
		}
	}
}
