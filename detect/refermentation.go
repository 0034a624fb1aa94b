package detect

import (
	"fmt"
	"math"
	"strings"
	"time"

	"spile/detect/beer"
)

// verdict is what floats, gauges and hands say together: is yeast at work again?
type verdict struct {
	Active  bool
	Stable  bool // gravity was seen to stand still, log or no log
	QuietAt time.Time
	CO2Rate *Interval // g/L per day
}

// When the witnesses are believed (judgement; sleepsBelow is common practice).
const (
	fallLeast     = 0.06           // degP, below which no score convinces
	borneOutScore = 3.0            // nats
	doubtedShare  = 0.25           // of a float's fall: a gauge that shows less does not bear it out
	modelDoubt    = 1.2            // nats: what probes suffer is more than their null holds, ...
	noiseHeld     = 0.6            // ... that of a float by so much less: it holds any noise (scoreOfAnyNoise)
	sleepsBelow   = 8.0            // degC, colder than which yeast settles rather than wakes: ...
	sleepsSounder = 1.25           // ... nats more of a float for each K that its beer was colder since it began to fall
	doubted       = 6.0            // nats more, and
	doubtedFall   = 0.15           // degP, of a float that a closed tank's gauge does not bear out
	quietHours    = 24             // of no make before the verdict ends
	quietRate     = 0.25           // g/L per day, about 0.06 degP
	quietLook     = 12 * time.Hour // over which that is reckoned
	witnessGone   = 72 * time.Hour // without a word of one, after which the others alone say that it is over
	stableHours   = 36             // of standing gravity that show a beer finished where the log is silent
	stableFall    = 0.10           // degP/day, 95 % bound
	hoursPerYear  = 24 * 365.25
)

// scoreNeeded is the score at which hands convince, and from which a gauge's
// need is reckoned (gaugeNeeded). A sum of likelihood ratios over all hours
// comes to A after A hours in the mean (judge); a best one of s comes up by
// chance about as often as exp(-s) per independent look (Lai, IEEE Trans. Inf.
// Theory 44 (1998) 2917-2929). That hours are less than independent, and most
// onsets count for less, errs to the safe side; something is put on top for what
// the model does not hold.
func (t *Tank) scoreNeeded() float64 {
	return math.Log(hoursPerYear/t.settings.FalseCallsPerTankYear) + modelDoubt
}

// gravityNeeded is the score at which a float convinces.
func (t *Tank) gravityNeeded() float64 { return t.scoreNeeded() - noiseHeld }

// armed tells whether gravity has any business to stand still in this tank.
func (t *Tank) armed() bool {
	b := t.state.Book
	return !b.Empty && (b.Finished || t.state.Verdict.Stable)
}

// fermenting tells whether beer ferments on purpose: what it makes is explained.
func (t *Tank) fermenting() bool { return t.state.Book.Working && !t.armed() }

// judgeFloats weighs the gravity witness after a float's finished hour.
func (t *Tank) judgeFloats(r Reading) []Finding {
	v, f, watched := &t.state.Verdict, t.state.Floats[r.Probe], t.armed()
	if slope, deviation, ok := f.recent(stableHours); ok && !v.Stable && (math.Abs(slope)+oneSided95*deviation)*24 < stableFall {
		v.Stable = true
		if !watched {
			f.keepStanding(stableHours)
			t.judgeCurve(f)
		}
	}
	if len(t.state.Balances) == 0 {
		v.CO2Rate = t.makeOfFall(f)
	}
	if v.Active {
		return t.endIfQuiet(r.Arrived)
	}
	if f.Score < idleScore && t.state.Hands.Asked.IsZero() {
		return nil
	}
	needed, least := t.gravityNeeded()+f.asleep(), fallLeast
	if t.contradicts(f) {
		needed, least = needed+doubted, doubtedFall
	}
	if !t.armed() || f.Score < needed || f.Fall.Depth < least {
		return t.perhapsAsk(r)
	}
	return t.begin(r, f.onset(r.Arrived))
}

// asleep is how many nats more are asked of a float whose beer was cold while it fell. Cooling moves the float itself, too.
func (f *float) asleep() float64 {
	var since []float64
	for _, p := range f.Points {
		if f.Warmth && !p.At.Before(f.Fall.Onset) {
			since = append(since, p.Celsius)
		}
	}
	if len(since) == 0 {
		return 0
	}
	return sleepsSounder * max(0, sleepsBelow-median(since))
}

// judgeBalance weighs the pressure witness after a finished block.
func (t *Tank) judgeBalance(r Reading, b *balance) []Finding {
	v := &t.state.Verdict
	if rate, ok := b.rate(quietLook); ok {
		v.CO2Rate = &rate
	}
	if v.Active {
		return append(t.endIfQuiet(r.Arrived), t.unexplainedRise(r, b)...)
	}
	return append(t.bothAgree(r, b), t.unexplainedRise(r, b)...)
}

// bothAgree begins the verdict where a gauge's two tests come to the same: CO2
// that no exchange explains, as much as would be told as a rise, and a climb of
// the shape of creep. Then each needs less.
func (t *Tank) bothAgree(r Reading, b *balance) []Finding {
	c := t.state.Gauges[r.Probe]
	made, _ := b.made()
	if c == nil || made/capacity(b.Celsius, t.headspaceShare()) < riseUnexplained || c.Score < bothScore+c.Rise.slow() || !t.mayClimb(c) {
		return nil
	}
	return t.begin(r, c.onset(r.Arrived))
}

// begin raises the verdict, brought about by a reading, with all the evidence at hand.
func (t *Tank) begin(by Reading, onset estimate) []Finding {
	v := &t.state.Verdict
	v.Active, v.QuietAt = true, time.Time{}
	out := t.handAnswered(by.Arrived, "the beer is held to be fermenting again")
	e := t.evidence(onset)
	rate := ""
	switch {
	case e.RatePlatoPerDay == nil:
	case e.RatePlatoPerDay.Value < AllButStands:
		rate = "; by now gravity has almost stopped falling. " + strings.Join(e.Witnesses, "; ")
	default:
		rate = fmt.Sprintf(": %.2f degP a day (%.1f points), %.1f g/L CO2 a day", e.RatePlatoPerDay.Value,
			e.RatePlatoPerDay.Value/beer.PlatoPerPoint, e.CO2GramsPerLiterDay.Value)
	}
	return append(out, Finding{
		Alarm: Refermentation, Quantity: by.Quantity, Active: true, Time: by.Arrived, Onset: onset.at, Evidence: e,
		Summary: fmt.Sprintf("%s: beer is fermenting again (hop creep?) since about %s%s", t.name, t.clock(onset.at), rate),
	})
}

// endVerdict takes the verdict back.
func (t *Tank) endVerdict(at time.Time, why string) []Finding {
	v := &t.state.Verdict
	was := v.Active
	*v = verdict{}
	t.state.Hands.Began = false // the next one need not wait for hands
	if !was {
		return nil
	}
	return []Finding{{Alarm: Refermentation, Time: at, Summary: fmt.Sprintf("%s: no longer held to be fermenting again (%s)", t.name, why)}}
}

// verdictOver takes it back of beer that is known to stand as it was known before.
func (t *Tank) verdictOver(at time.Time, why string) []Finding {
	stable := t.state.Verdict.Stable
	out := t.endVerdict(at, why)
	t.state.Verdict.Stable = stable
	return out
}

// makesCO2 tells whether a gauge's balance shows CO2 being made of late, or a relief valve that lifts lets it go, of a tank
// on which no gas is left.
func (t *Tank) makesCO2(at time.Time) bool {
	for _, b := range t.state.Balances {
		if b.makes() && at.Sub(b.At) <= witnessGone {
			return true
		}
	}
	for _, c := range t.state.Gauges {
		if t.state.Book.Gas != GasHeldBelow && c.liftedSince(at.Add(-quietLook)) > 0 {
			return true
		}
	}
	return false
}

// endIfQuiet ends the verdict once every witness has seen nothing for a day.
func (t *Tank) endIfQuiet(at time.Time) []Finding {
	if lasted(&t.state.Verdict.QuietAt, t.allQuiet(at), at) < quietHours*time.Hour {
		return nil
	}
	out := t.verdictOver(at, "no fall of gravity and no CO2 made for a day")
	t.state.Hands = hands{Since: at.Add(-quietHours * time.Hour)}
	for _, f := range t.state.Floats {
		f.keepStanding(quietHours)
	}
	t.restartBalances()
	t.restartGauges(at, false)
	return out
}

// allQuiet tells whether no witness sees anything of late. One that fell silent while it did is waited for, unless another
// has looked on since: else nothing would be told of this beer again.
func (t *Tank) allQuiet(at time.Time) bool {
	gone, lookedOn := false, t.state.Hands.Began
	for _, f := range t.state.Floats {
		heard, quiet := at.Sub(f.lastWord()) <= witnessGone, f.quiet(quietHours) || f.quiet(2*quietHours) // a noisy float needs the longer look
		if heard && !quiet {
			return false
		}
		gone, lookedOn = gone || !heard && !quiet, lookedOn || heard
	}
	for _, b := range t.state.Balances {
		heard := at.Sub(b.At) <= witnessGone
		gone, lookedOn = gone || !heard && b.makes(), lookedOn || heard && t.mayMove()
	}
	return (!gone || lookedOn) && !t.makesCO2(at) && (!t.state.Hands.Began || t.handsQuiet())
}

// makes tells whether a balance showed CO2 being made when it was heard last.
func (b *balance) makes() bool {
	rate, ok := b.rate(quietLook)
	return ok && rate.Value > quietRate
}

// lastWord is about when a float was heard last.
func (f *float) lastWord() time.Time {
	if n := len(f.Points); n > 0 {
		return Later(f.Points[n-1].At, f.Block.Start)
	}
	return f.Block.Start
}

// keepStanding forgets all but the newest hours, in which gravity stood: what it fell before is no creep, or was called.
func (f *float) keepStanding(hours int) {
	f.Points, f.Judged = f.Points[max(0, len(f.Points)-hours):], time.Time{}
	f.Score, f.Fall, f.Began = 0, gravityFall{}, time.Time{}
}

// quiet tells whether a float's newest hours show no fall to speak of.
func (f *float) quiet(hours int) bool {
	slope, deviation, ok := f.recent(hours)
	return ok && slope*24 <= stableFall/2 && (slope+oneSided95*deviation)*24 <= 2*stableFall
}

// unexplainedRise names a rise of head pressure that neither temperature nor
// exchange nor known yeast explains.
func (t *Tank) unexplainedRise(r Reading, b *balance) []Finding {
	h := &t.state.Head
	made, since := b.made()
	rise := made / capacity(b.Celsius, t.headspaceShare())
	was := h.Rising
	h.Rising = !t.state.Verdict.Active && !t.fermenting() && (rise >= riseUnexplained && t.borneOut(r.Probe) || was && h.stillRises(rise, b, r.Arrived))
	if h.Rising == was {
		return nil
	}
	h.Faded = time.Time{}
	value, explained := r.Value, r.Value-rise
	f := Finding{
		Alarm: PressureRise, Active: h.Rising, Time: r.Arrived, Onset: since,
		Evidence: Evidence{
			PressureKPa: &value, ExplainedPressureKPa: &explained,
			Witnesses: []string{fmt.Sprintf("%s: %s, of which %s is not explained", r.Probe, t.pressure(value), t.pressure(rise))},
			RuledOut:  []string{"warming, and CO2 coming out of the beer: both allowed for"},
		},
		Summary: fmt.Sprintf("%s: head pressure has risen to %s since %s, %s more than temperature and known CO2 explain",
			t.name, t.pressure(value), t.clock(since), t.pressure(rise)),
	}
	if !h.Rising {
		f.Summary = fmt.Sprintf("%s: head pressure %s %s", t.name, t.pressure(value), t.whyExplained())
	}
	return []Finding{f}
}

// whyExplained says why a rise is told no longer: it may go on, under another name.
func (t *Tank) whyExplained() string {
	switch {
	case t.state.Verdict.Active:
		return "is explained by beer that ferments again, of which its own alarm tells"
	case t.fermenting():
		return "is explained by beer that ferments"
	}
	return "is explained again"
}

// stillRises tells whether a rise that was told is not over: it is once it was explained for hours, or at once where hands
// have moved the gas.
func (h *head) stillRises(rise float64, b *balance, at time.Time) bool {
	explained := rise <= riseUnexplained-riseDeadband
	faded := lasted(&h.Faded, explained, at)
	return !explained || faded < riseFades && b.At.Sub(b.Since) >= balanceHoldOff+riseFades
}

// borneOut tells whether a gauge's likelihood ratio, too, finds a rise there at
// all: gas that comes to rest more slowly than the sums allow for is none.
func (t *Tank) borneOut(probe string) bool {
	c := t.state.Gauges[probe]
	return c != nil && c.Score >= borneOutScore
}
