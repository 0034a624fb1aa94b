package alert

import (
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// standardAir is about what the air has at the sea, kPa: a wrong unit says more, a gauge that counts from the air less.
const standardAir = 101.0

// Air says what a probe outside said last. A wrong one is asked about, for whoever hung it up looks here.
func (w Words) Air(a Air, now time.Time) string {
	figure, age := beer.BothFrom(a.Value, w.Display.Pressure, beer.KindPressure), detect.Age(now.Sub(a.Time))
	if !detect.NotOfAir(a.Value) {
		return "Air outside " + figure + ", " + a.Probe + ", " + age
	}
	question := "is it an absolute one?"
	if a.Value > standardAir {
		question = "is its unit right?"
	}
	return a.Probe + " says " + figure + ", " + age + ", which is no pressure of the air: " + question
}
