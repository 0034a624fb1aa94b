package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

func TestSpell(t *testing.T) {
	for want, d := range map[string]time.Duration{
		"0 s": 0, "89 s": 89 * time.Second, "2 min": 110 * time.Second, "89 min": 89 * time.Minute, "1.5 h": 90 * time.Minute,
		"24 h": 24 * time.Hour, "12.5 h": 12*time.Hour + 30*time.Minute, "2 days": 48 * time.Hour, "2.5 days": 60 * time.Hour, "30 days": 720 * time.Hour,
	} {
		assert.Equal(t, want, Spell(d))
	}
}

func TestRoughlyLeavesOutTheMinutes(t *testing.T) {
	assert.Equal(t, "9.5 h", Roughly(9*time.Hour+30*time.Minute))
	assert.Equal(t, "43 h", Roughly(42*time.Hour+31*time.Minute))
}
