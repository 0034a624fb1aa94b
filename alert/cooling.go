package alert

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// CoolingPlant is the alarm of two or more tanks that warm within an hour: one incident, that stands for theirs.
const CoolingPlant detect.Alarm = "cooling-plant"

// How warming is followed (our choice, made for tanks that warm by 0.03 to 0.4 degC an hour uncooled).
const (
	coolingTanks  = 2                // warming make it the plant's
	coolingWindow = time.Hour        // within which they began
	samplesKept   = 7                // an hour
	sampleSpan    = 20 * time.Minute // at least, to tell a rate
	slowestWarm   = 0.05             // K per hour; below it is noise
	leastUnder    = 0.1              // K under its limit, below which a tank is said to be at it
	farthestLimit = 48 * time.Hour
	defaultAbove  = 1.0 // K, detect.Settings.DriftAbove
)

// cooling is what the Watch knows of the cooling plant by its tanks.
type cooling struct {
	Samples trail    `json:"samples,omitempty"` // of beer temperature
	Members []string `json:"members,omitempty"` // of the incident that stands
}

// warming is a tank on its way, or past, its limit.
type warming struct {
	tank    string
	celsius float64
	over    float64       // K past the limit; negative: below it
	left    time.Duration // until the limit; 0: past it
}

// cool looks once a minute whether tanks warm together. The incident begins when the first of them would be called, and
// ends when the last is back.
func (w *Watch) cool() {
	began := w.drifting()
	c := w.cellar.find(CoolingPlant, "")
	standing := c != nil && c.Holds
	switch {
	case !standing && !w.together(began):
		return
	case standing && len(began) == 0:
		w.cooling.Members = nil
		w.cellar.hear([]detect.Finding{{Alarm: CoolingPlant, Time: w.at}}, w.at)
		return
	}
	names := make([]string, 0, len(began))
	onset := w.at
	for _, b := range began {
		names = append(names, b.tank)
		if b.onset.Before(onset) {
			onset = b.onset
		}
	}
	if standing && slices.Equal(names, w.cooling.Members) && !w.at.Equal(w.at.Truncate(samplePace)) {
		return // nothing new; the hours to the limit are worked out anew with every sample
	}
	w.cooling.Members = names
	if standing && !c.Finding.Onset.IsZero() {
		onset = c.Finding.Onset
	}
	w.cellar.hear([]detect.Finding{w.plantFinding(names, onset)}, w.at)
}

// drifted is a tank whose beer is over its setpoint.
type drifted struct {
	tank   string
	began  time.Time // arrival
	onset  time.Time
	called bool // its on-delay has run
}

// drifting lists the tanks whose beer is over its setpoint, by name. One that is empty, or that people began to work on
// before, is warm for another reason.
func (w *Watch) drifting() []drifted {
	var out []drifted
	for _, v := range w.vessels {
		c := v.find(detect.CrashDrift, "")
		if c == nil || !c.Holds || !isWarm(c.Finding.Evidence) || w.options.Tuning[detect.CrashDrift].OutOfService {
			continue
		}
		if why := w.leftAlone(v); why == "" || why != emptyTank && slices.Contains(w.cooling.Members, v.name) {
			due := c.Standing.Active || !w.at.Before(c.Changed.Add(w.delays(detect.CrashDrift).on))
			out = append(out, drifted{tank: v.name, began: c.Changed, onset: c.Finding.Onset, called: due})
		}
	}
	return out
}

// isWarm tells a warm drift from a cold one.
func isWarm(e detect.Evidence) bool {
	return e.TemperatureCelsius != nil && e.SetpointCelsius != nil && *e.TemperatureCelsius > *e.SetpointCelsius
}

// together tells whether enough tanks began to drift within an hour, one of which would be called by now.
func (w *Watch) together(all []drifted) bool {
	for _, first := range all {
		n, called := 0, false
		for _, other := range all {
			if d := other.began.Sub(first.began); d >= 0 && d <= coolingWindow {
				n++
				called = called || other.called
			}
		}
		if n >= coolingTanks && called {
			return true
		}
	}
	return false
}

// plantFinding puts the incident into words: who is warming, by hours to the limit.
func (w *Watch) plantFinding(names []string, onset time.Time) detect.Finding {
	words := w.words()
	var lines []string
	for _, x := range w.warmings(names) {
		text := fmt.Sprintf("%s %s", x.tank, show(x.celsius, words.Display.Temperature, beer.KindTemperature))
		switch {
		case x.left > 0:
			text += fmt.Sprintf(", %.1f h to its limit", x.left.Hours())
		case x.over > 0:
			text += fmt.Sprintf(", %s past its limit", show(x.over, words.Display.Temperature, beer.KindDifference))
		case x.over <= -leastUnder:
			text += fmt.Sprintf(", %s under its limit", show(-x.over, words.Display.Temperature, beer.KindDifference))
		default:
			text += ", at its limit"
		}
		lines = append(lines, text)
	}
	return detect.Finding{
		Alarm: CoolingPlant, Active: true, Time: w.at, Onset: onset,
		Summary:  "cooling: " + strings.Join(names, ", ") + " are warming",
		Evidence: detect.Evidence{Witnesses: lines},
	}
}

// warmings lists the members, and every other tank that warms towards its limit, by the hours that are left.
func (w *Watch) warmings(members []string) []warming {
	var out []warming
	for _, v := range w.vessels {
		s := v.tank.Status()
		if s.SetpointCelsius == nil || s.Empty {
			continue
		}
		x, ok := w.warming(v.name, s)
		if slices.Contains(members, v.name) {
			x.left, ok = 0, true
		}
		if ok {
			out = append(out, x)
		}
	}
	slices.SortStableFunc(out, func(a, b warming) int { return cmp.Or(cmp.Compare(a.left, b.left), cmp.Compare(b.over, a.over)) })
	return out
}

// warming works out when a tank's beer reaches its limit; false where it does not warm.
func (w *Watch) warming(tank string, s detect.Status) (warming, bool) {
	above := w.settings(tank).DriftAbove
	if above == 0 {
		above = defaultAbove
	}
	x := warming{tank: tank, celsius: s.Last[detect.Temperature].Value}
	x.over = x.celsius - *s.SetpointCelsius - above
	kept := w.cooling.Samples[tank]
	if x.over >= 0 || len(kept) < 2 {
		return x, false
	}
	first, last := kept[0], kept[len(kept)-1]
	rate := (last.Value - first.Value) / last.At.Sub(first.At).Hours()
	if last.At.Sub(first.At) < sampleSpan || rate < slowestWarm {
		return x, false
	}
	ahead := hours(min((*s.SetpointCelsius+above-last.Value)/rate, farthestLimit.Hours()))
	x.left = max(ahead-w.at.Sub(last.At), time.Minute) // not yet seen to be past it
	return x, ahead < farthestLimit
}
