package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The leap seconds here are those of RFC 3339, section 5.8 and appendix D.
func TestALeapSecondIsTheSecondBehindIt(t *testing.T) {
	for text, want := range map[string]time.Time{
		"1990-12-31T23:59:60Z":      time.Date(1991, 1, 1, 0, 0, 0, 0, time.UTC),
		"1990-12-31T15:59:60-08:00": time.Date(1991, 1, 1, 0, 0, 0, 0, time.UTC),
		"1997-06-30T23:59:60.25Z":   time.Date(1997, 7, 1, 0, 0, 0, 250e6, time.UTC),
	} {
		at, err := ParseTime(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, at, text)
	}
	for _, text := range []string{
		"2026-03-02T23:59:60Z", "1990-12-31T23:59:61Z", "1990-12-31T23:59:60", "1990-12-31T23:59:60+01:00",
		"1990-12-31T23:58:60Z", "1990-12-31T22:59:60Z", "1990-12-31T23:59:6", "1990-12-31T23:59:60.Z",
	} {
		_, err := ParseTime(text)
		assert.Error(t, err, text)
	}
}
