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

func TestAnHourThatIsNearlyNowIsNotNamed(t *testing.T) {
	tank := NewTank("FV3", Settings{})
	assert.Equal(t, "within minutes", tank.about(began.Add(9*time.Minute), began))
	assert.Equal(t, "about Mon 08:10", tank.about(began.Add(10*time.Minute), began))
}

func TestARiseThatIsToldUnderAnotherNameSaysSo(t *testing.T) {
	tank := NewTank("FV3", Settings{})
	assert.Equal(t, "is explained again", tank.whyExplained())
	tank.state.Verdict.Active = true
	assert.Equal(t, "is explained by beer that ferments again, of which its own alarm tells", tank.whyExplained())
}

func TestAFallThatIsOverIsToldByItsDepth(t *testing.T) {
	for now, want := range map[float64]string{
		0.25:  "FV3: beer is fermenting again (hop creep?) since about Mon 08:00: 0.25 degP a day (1.0 points), 1.0 g/L CO2 a day",
		0.001: "FV3: beer is fermenting again (hop creep?) since about Mon 08:00; by now gravity has almost stopped falling. hyd-3: gravity down 0.50 degP",
	} {
		b := newBench(t, Settings{})
		b.tank.state.Floats["hyd-3"] = &float{Score: 99, Fall: gravityFall{Onset: began, Depth: 0.5, Now: Interval{Value: now}}}
		found := b.tank.begin(Reading{Tank: "FV3", Probe: "hyd-3", Quantity: Gravity, Time: began, Arrived: began}, estimate{at: began})
		assert.Contains(t, found[0].Summary, want)
	}
}
