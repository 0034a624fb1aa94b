package trial

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"spile/detect"
)

func TestJournalDropsRepeatsAndMarksLate(t *testing.T) {
	t.Parallel()
	j := newJournal()
	for _, step := range []struct {
		says     string
		probe    string
		quantity detect.Quantity
		minute   int
		fresh    bool
		late     bool
	}{
		{"the first", "a", detect.Gravity, 10, true, false},
		{"it again", "a", detect.Gravity, 10, false, false},
		{"another quantity of that time", "a", detect.Temperature, 10, true, false},
		{"another probe of that time", "b", detect.Gravity, 10, true, false},
		{"the next", "a", detect.Gravity, 20, true, false},
		{"the first once more", "a", detect.Gravity, 10, false, false},
		{"one that was overtaken", "a", detect.Gravity, 15, true, true},
		{"its repeat", "a", detect.Gravity, 15, false, false},
		{"one more", "a", detect.Gravity, 30, true, false},
	} {
		r := detect.Reading{Probe: step.probe, Quantity: step.quantity, Time: begins().Add(time.Duration(step.minute) * time.Minute)}
		assert.Equal(t, step.fresh, j.commit(&r), step.says)
		assert.Equal(t, step.late, r.Late, step.says)
	}
}
