package detect

import "time"

// book is what the cellar log says of a tank.
type book struct {
	Gas         Gas
	HeldKPa     float64   // what the valve or the regulator holds, where Gas says so and it was told
	Spunded     time.Time // when a valve was last set to hold pressure
	HasSetpoint bool
	Setpoint    float64   // degC, of the beer
	SetAt       time.Time // when it was logged
	Working     bool      // pitched or added to: it ferments on purpose, until it is finished or stands still
	Finished    bool      // crashed, hopped or its yeast pulled: gravity should not move any more
	Still       bool      // hopped or its yeast pulled: not even when it is warmed again
	Since       time.Time // when this beer came in or left, or was last let ferment: what was read before tells nothing of it
	Hopped      time.Time // the newest cold dry-hop; zero: none, or the hops are off
	HandsOn     time.Time // hands on the tank until then
	Empty       bool
	OriginalSG  float64 // 0: not given
}

// spundSealed is how soon after its valve was set a tank that is closed is closed up to that valve: nobody sets one and caps
// it minutes later, but two lines of one moment are written in either order (judgement).
const spundSealed = 10 * time.Minute

// transferTime is how long a logged transfer may take before the tank counts
// as left alone again (common practice).
const transferTime = 4 * time.Hour

// Log hears one line of the cellar log, in the order of the journal, and
// returns the findings that it changes.
func (t *Tank) Log(e Event) []Finding {
	t.advance(e.Arrived)
	t.state.Logged = t.state.Logged || e.Name != "probe"
	late := t.state.Acts.behind(e)
	t.state.Acts.keep(e, t.state.Book)
	t.forget()
	out := append(t.notFinished(e), t.clearFaults(e)...)
	switch e.Name {
	case "dry-hop", "pitch", "empty", "transfer", "package", "add":
		out = append(out, t.hopsAnswered(e.Arrived, "log: "+e.Name)...)
		t.state.Hops.AskedFor = time.Time{}
	}
	out = append(out, t.explained(e)...)
	if late || e.replaces() != "" {
		out = append(out, t.amend(e)...)
	} else {
		out = append(out, t.record(e)...)
	}
	return append(out, t.goneByLog(e)...)
}

// otherBeer tells whether an act puts other beer into a tank, takes all of it out, or lets it ferment. A rest of beer that
// was hopped, or whose yeast is gone, does not: it is warmed again where diacetyl is back, and yeast that is at work gets
// more to do. So the watch goes on, and a verdict stands until it is quiet. Hops that are dumped leave behind what they freed;
// those that were asked about, and that nobody answered for, are taken to be in.
func (t *Tank) otherBeer(e Event) bool {
	switch e.Name {
	case "pitch", "add", "empty":
		return true
	case "rest":
		return !t.state.Book.Still && !t.state.Hops.asked(t.state.Book.Since, e.Time)
	case "transfer", "package": // without a volume all the beer leaves
		_, part := e.Amount("volume")
		return !part
	}
	return false
}

// record takes an act in.
func (t *Tank) record(e Event) []Finding {
	b := &t.state.Book
	if t.otherBeer(e) {
		return t.logBatch(e)
	}
	switch e.Name {
	case "rest":
		return t.newSetpoint(e)
	case "crash":
		b.Finished = true
		setpoint, _ := e.Amount("setpoint")
		return append(t.setpoint(setpoint, e.Time), t.foreseeVacuum(e.Arrived)...)
	case "yeast-off":
		b.Finished, b.Still = true, true
	case "dry-hop":
		if e.Word("kind") != "active" {
			was := *b
			b.Finished, b.Still, b.Hopped = true, true, e.Time
			t.hopFloats(was)
		}
	case "hops-off":
		b.Hopped = time.Time{}
	case "work":
		b.HandsOn = Later(b.HandsOn, e.Time.Add(hours(e.Amounts["for"])))
	case "transfer", "package":
		b.HandsOn = Later(b.HandsOn, e.Time.Add(transferTime))
	case "probe":
		return t.moveProbe(e)
	case "gravity":
		return t.readByHand(e)
	}
	t.logGas(e)
	return nil
}

// newSetpoint puts an act's setpoint in force, or takes the old one back where it tells none.
func (t *Tank) newSetpoint(e Event) []Finding {
	if setpoint, ok := e.Amount("setpoint"); ok {
		return t.setpoint(setpoint, e.Time)
	}
	return t.noSetpoint()
}

// logBatch begins, re-opens or ends a batch: what was judged of its beer is over.
func (t *Tank) logBatch(e Event) []Finding {
	b := &t.state.Book
	switch e.Name {
	case "pitch":
		*b = book{Gas: b.Gas, HeldKPa: b.HeldKPa, Spunded: b.Spunded, HandsOn: b.HandsOn}
		b.OriginalSG, _ = e.Amount("gravity")
	case "empty", "transfer", "package":
		b.Empty, b.Hopped = true, time.Time{}
	}
	if e.Name != "rest" || b.Working { // a rest moves no gas: that a tank stood is known yet
		t.restartGauges(e.Time, false)
	}
	b.Since = e.Time
	b.Finished, b.Still, b.Working = false, false, e.Name == "pitch" || e.Name == "add" || (b.Working && e.Name == "rest")
	out := append(t.handAnswered(e.Arrived, "log: "+e.Name), t.endVerdict(e.Arrived, "log: "+e.Name)...)
	if b.Empty {
		out = append(out, t.freezesNoMore(e.Arrived, "the tank is empty (log: "+e.Name+")")...)
	}
	t.state.Hands = hands{}
	t.restartFloats()
	t.restartBalances()
	if _, told := e.Amount("setpoint"); e.Name == "add" && !told {
		return out
	}
	return append(out, t.newSetpoint(e)...)
}

// logGas follows what an event does to the gas, and lets the CO2 balance begin
// anew: what people do with gas is no yeast's work.
func (t *Tank) logGas(e Event) {
	b := &t.state.Book
	switch e.Name {
	case "seal":
		t.closedAt(e.Time, e.Arrived)
		t.state.Drift.shutAt(e.Time)
		if b.Gas != GasHeldAbove || e.Time.Sub(b.Spunded) > spundSealed {
			b.Gas, b.HeldKPa = GasClosed, 0
		}
	case "vent":
		b.Gas, b.HeldKPa = GasOpen, 0
		if held, ok := e.Amount("pressure"); ok && held > 0 {
			b.Gas, b.HeldKPa, b.Spunded = GasHeldAbove, held, e.Time
		}
	case "gas":
		if held, ok := e.Amount("hold"); ok {
			b.Gas, b.HeldKPa = GasHeldBelow, held
		} else if e.Word("hold") == "off" {
			b.Gas, b.HeldKPa = GasClosed, 0
		}
	}
	if movesGas(e.Name) {
		t.restartBalances()
		t.movedGas(e)
	}
}

// movesGas tells whether what people did moves gas, or opens the tank to it.
func movesGas(event string) bool {
	switch event {
	case "seal", "vent", "gas", "rouse", "sample", "dry-hop", "hops-off", "yeast-off", "transfer", "package":
		return true
	}
	return false
}
