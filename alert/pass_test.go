package alert

import (
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// passOf takes the pass out of a link.
func passOf(t require.TestingT, link string) string {
	u, err := url.Parse(link)
	require.NoError(t, err)
	return u.Query().Get("pass")
}

func cellarLinks(token string) *Links {
	return NewLinks(&url.URL{Scheme: "https", Host: "cellar.example", Path: "/"}, token)
}

func TestALinkOpensItsOwnIncidentForAWhile(t *testing.T) {
	links := cellarLinks("t0ken")
	link := links.Acknowledge("abcd", midnight)
	assert.Regexp(t, `^https://cellar\.example/alarms/abcd\?pass=\d+\.[\w-]{22}$`, link)
	pass := passOf(t, link)
	for _, row := range []struct {
		name, incident, pass string
		links                *Links
		after                time.Duration
		good                 bool
	}{
		{"fresh", "abcd", pass, links, 0, true},
		{"in its last second", "abcd", pass, links, passLife - time.Second, true},
		{"run out", "abcd", pass, links, passLife, false},
		{"after a restart", "abcd", pass, cellarLinks(" t0ken\n"), 0, true},
		{"of another incident", "abce", pass, links, 0, false},
		{"of another token", "abcd", pass, cellarLinks("changed"), 0, false},
		{"moved on", "abcd", "9999999999" + pass[10:], links, 0, false},
		{"unsealed", "abcd", pass[:10], links, 0, false},
		{"cut short", "abcd", pass[:len(pass)-1], links, 0, false},
		{"a plus before the time", "abcd", "+" + pass, links, 0, false},
		{"empty", "abcd", "", links, 0, false},
		{"where there are no links", "abcd", pass, nil, 0, false},
	} {
		assert.Equal(t, row.good, row.links.Good(row.incident, row.pass, midnight.Add(row.after)), row.name)
	}
}

func TestWithoutAddressOrTokenThereIsNoLink(t *testing.T) {
	assert.Nil(t, NewLinks(nil, "t0ken"))
	assert.Nil(t, cellarLinks(" "))
	var none *Links
	assert.Empty(t, none.Acknowledge("abcd", midnight))
}

func TestAPassFitsNoOtherIncident(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		id := rapid.StringMatching(`[a-z2-7 .]{0,16}`)
		a, b := id.Draw(t, "a"), id.Draw(t, "b")
		at := midnight.Add(time.Duration(rapid.Int64Range(0, 1<<40).Draw(t, "at")))
		links := cellarLinks(rapid.StringMatching(`[!-~]{1,40}`).Draw(t, "token"))
		pass := links.pass(a, at.Add(passLife))
		require.True(t, links.Good(a, pass, at))
		require.Equal(t, a == b, links.Good(b, pass, at))
	})
}

// No pass is good but one that these links made for this incident, whatever is sent for one.
func FuzzPass(f *testing.F) {
	links := cellarLinks("t0ken")
	pass := passOf(f, links.Acknowledge("abcd", midnight))
	for _, seed := range []string{pass, "", ".", pass + ".", "+" + pass, " " + pass, pass[:10], "9999999999" + pass[10:], "-1.AAAA", "9223372036854775808.x", "1e9.\x00"} {
		f.Add("abcd", seed)
		f.Add("abcd until 1", seed)
	}
	f.Fuzz(func(t *testing.T, incident, sent string) {
		require.Equal(t, incident == "abcd" && sent == pass, links.Good(incident, sent, midnight))
	})
}
