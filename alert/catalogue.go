package alert

import (
	"slices"
	"time"

	"spile/detect"
)

// Scope is what an alarm belongs to. It decides what the cellar log may do to it.
type Scope string

// The scopes of an alarm.
const (
	Vessel Scope = "vessel" // live whatever the log says, an empty tank included; shelved for an hour at most
	Batch  Scope = "batch"  // waits while people have hands on the tank; closed when the batch leaves it
	Cellar Scope = "cellar" // of no one tank
)

// Definition is what there is to know of an alarm before it is raised.
type Definition struct {
	Alarm        detect.Alarm
	Priority     detect.Priority // where the finding gives none
	Scope        Scope
	OnDelay      time.Duration  // how long the condition must last before it is told
	OffDelay     time.Duration  // how long it must be gone before it counts as gone
	SuppressedBy []detect.Alarm // of the same tank or of the cellar: while one of them stands, this one stays quiet
	Lasting      bool           // stays until it is answered though the batch has left: what it warns of went with the beer
	Title        string         // for a headline, behind the tank's name
	Meaning      string         // a sentence
	LookFirst    string         // what a person looks at first
	Safety       string         // the caution in full, for the alarm's page; empty where nobody can be hurt
	Caution      string         // the same in one breath, for the last line of a message
}

// The cautions. They say what is usual and defer to the site's rules, for spile is no safety device.
const (
	cautionCO2 = "CO2 may be in the room: meter before you go in and do not go alone. Site rules and local code come first."

	cautionOverPressure = "Loosen no clamp, no manway. Keep clear of the relief outlet and never plug or re-set it: " +
		"above its setting and still rising it may be blocked. " + cautionCO2

	cautionVacuum = "Stop cooling and stop drawing beer. Let CO2 in slowly by a regulator or open the top vent, only from where you " +
		"are clear of the tank; take nothing from the bottom. A tank that buckles: leave it, keep people away. " +
		"Caustic with CO2, or hot and then cold, can collapse a closed tank in seconds: faster than any probe tells. " + cautionCO2

	cautionFreezing = "Ice can block outlets, vents and the vacuum breaker. " + cautionGlycol +
		" Keep to the tank maker's limits and site rules."

	cautionGlycol = "Glycol makes beer unfit to drink: where level or gravity has risen and nothing explains it, do not sell it."

	cautionDrift = "Closed beer that warms gives off CO2 and its head pressure rises, to the relief setting and past it where the " +
		"valve is blocked. Read the gauge from where you are clear of the relief outlet; loosen no clamp, no manway. Closed beer " +
		"that cools can pull its tank below atmosphere. The relief valve and the vacuum breaker protect people, spile does not. " +
		cautionCO2

	cautionCooling = "A chiller's refrigerant and its wiring are for people licensed for them. " + cautionDrift

	cautionHops = "What falls into carbonated beer can make it erupt. Open no port to look: bring the tank to zero at the tank and " +
		"prove it there. The CO2 let out stays in the room: meter first, do not go alone. Site rules and local code come first."

	cautionPackages = "Cans, bottles and kegs of beer that is not done can burst: leave suspect ones where they are, cold and shielded, " +
		"and let nobody handle them warm or without gloves and eye protection. The package maker's rating and local law decide."
)

// The same in one breath: what a person must not forget on the way to the tank.
const (
	briefCO2          = "CO2 may fill the room: meter first, do not go alone."
	briefOverPressure = "Loosen no clamp or manway, keep clear of relief and never plug it; still rising, it may be blocked. " + briefCO2
	briefVacuum       = "Stop cooling and pumping, let CO2 in or open the top vent; draw nothing from the bottom. " + briefCO2
	briefFreezing     = "Ice can block outlets, vents and the vacuum breaker."
	briefCooling      = "Closed beer that warms builds pressure: read its gauge, keep clear of relief, loosen no clamp or manway. " + briefCO2
	briefDrift        = "Closed, it gains pressure as it warms and can be pulled flat as it cools: read its gauge, keep clear of relief, " +
		"loosen no clamp or manway. " + briefCO2
	briefHops     = "What falls into carbonated beer can make it erupt: open no port to look. " + briefCO2
	briefPackages = "Cans of it can burst: keep them cold and shielded, touch none without gloves and eye protection, none warm."
)

// catalogue is every alarm, parents before those they silence. Priorities are the project's defaults; the delays are
// our choice, made for a cellar that moves in hours: ANSI/ISA-18.2 asks that they be rationalised and gives none.
// It is read only.
var catalogue = []Definition{
	{
		Alarm: detect.LinkLost, Priority: detect.High, Scope: Cellar,
		// A broker that restarts is back within minutes. It must then hold as long before the probes behind it answer
		// for their own silence again.
		OnDelay: 15 * time.Minute, OffDelay: 15 * time.Minute,
		Title:     "no word from the probes, the link is down",
		Meaning:   "The broker or the store is out of reach, so no probe behind it is heard.",
		LookFirst: "Look at the network and the broker's machine. Until it is back nothing watches the tanks: read them by hand.",
	},
	{
		Alarm: WebhookFailing, Priority: detect.High, Scope: Cellar,
		OffDelay:  15 * time.Minute, // one that flaps is told once
		Title:     "a webhook takes no messages",
		Meaning:   "Messages for a webhook have not been delivered for 15 minutes, or it answered that it wants no more.",
		LookFirst: "Is the internet there, is the address still right? Run spile try-webhook. Whoever it would call is not called.",
	},
	{
		Alarm: JournalStopped, Priority: detect.High, Scope: Cellar,
		OffDelay:  15 * time.Minute, // for the probes behind it, as above
		Title:     "spile can keep nothing: no tank is watched",
		Meaning:   "The journal takes no readings, as on a full disk. The broker keeps them meanwhile; nothing is judged until it does.",
		LookFirst: "Is the disk full or broken? Make room: it goes on by itself. Until then read the tanks by hand.",
	},
	{
		Alarm: JournalDisk, Priority: detect.High, Scope: Cellar,
		OffDelay:  10 * time.Minute,
		Title:     "the disk of spile is nearly full",
		Meaning:   "Little room is left on the journal's disk. The reserve is in use, and buys hours.",
		LookFirst: "Make room on the disk of spile's computer, or set retention to keep less.",
	},
	{
		Alarm: JournalDamaged, Priority: detect.High, Scope: Cellar,
		OffDelay:  12 * time.Hour, // it is over at once, and is to be seen by somebody
		Title:     "the journal's file was damaged",
		Meaning:   "What could be read of it was saved into a new one, and watching goes on. The damaged file is kept.",
		LookFirst: "A disk or memory card that damages files is at its end: copy the journal and change it soon.",
	},
	{
		Alarm: InfluxMissed, Priority: detect.Medium, Scope: Cellar,
		OffDelay:  12 * time.Hour, // as above
		Title:     "readings went before InfluxDB had them",
		Meaning:   "The journal's size limit left no choice: readings became hourly means before InfluxDB had them.",
		LookFirst: "Is InfluxDB away or refusing? Mend it, or give the journal more room: set retention.size higher.",
	},
	{
		Alarm: ProbeFlood, Priority: detect.Medium, Scope: Cellar,
		OffDelay:  12 * time.Hour, // as above
		Title:     "a device sends more than any cellar needs",
		Meaning:   "A probe goes on sending many messages a second, or a device makes up tanks. What is too much is refused; the others are heard.",
		LookFirst: "Find the device by its topic, and let it send one message a minute under one name.",
	},
	{
		Alarm: CoolingPlant, Priority: detect.High, Scope: Cellar,
		OffDelay:  10 * time.Minute, // as for the drift of one tank
		Title:     "tanks are warming together",
		Meaning:   "Two or more tanks left their setpoint within an hour: that is the cooling plant, not a valve.",
		LookFirst: "Is the chiller running, is glycol cold, is its pump on? The first tank of the list has the least time.",
		Safety:    cautionCooling, Caution: briefCooling,
	},
	{
		Alarm: detect.OverPressure, Priority: detect.Critical, Scope: Vessel,
		OffDelay:  30 * time.Minute, // a relief valve lifts and reseats: one call, not ten (common practice)
		Title:     "head pressure is at or nearing the relief setting",
		Meaning:   "Head pressure has come close to the setting of the pressure relief valve, or will reach it within the hour.",
		LookFirst: "From a safe place, read the gauge at the tank: is it still rising, does the spunding or relief valve pass gas?",
		Safety:    cautionOverPressure, Caution: briefOverPressure,
	},
	{
		Alarm: detect.Vacuum, Priority: detect.Critical, Scope: Vessel,
		OnDelay: time.Minute, OffDelay: 5 * time.Minute,
		Title:     "head pressure is falling below atmosphere",
		Meaning:   "Head pressure has fallen below the air outside, or will: cooling or emptying a closed tank can collapse it.",
		LookFirst: "Is the tank being cooled, emptied or cleaned while closed? Is the vacuum breaker free?",
		Safety:    cautionVacuum, Caution: briefVacuum,
	},
	{
		Alarm: detect.Refermentation, Priority: detect.High, Scope: Batch,
		OffDelay:  time.Hour,
		Title:     "beer is fermenting again (hop creep?)",
		Meaning:   "Yeast is working again in beer that had finished: gravity falls, or CO2 is made that nothing else explains.",
		LookFirst: "Read the gauge at the tank, sample for gravity and diacetyl, and hold back what was already packaged from it.",
		Safety:    cautionCO2 + " " + cautionPackages, Caution: briefCO2 + " " + briefPackages,
	},
	{
		Alarm: detect.CrashDrift, Priority: detect.High, Scope: Batch,
		OnDelay: 20 * time.Minute, OffDelay: 10 * time.Minute,
		SuppressedBy: []detect.Alarm{CoolingPlant}, // where it is warm
		Title:        "beer is off its crash setpoint",
		Meaning:      "Beer is warmer or colder than its crash setpoint allows, is on its way there, or cooling has stalled.",
		LookFirst:    "Is glycol flowing to this tank, is the valve where it should be, do other tanks warm too?",
		Safety:       cautionDrift + " " + cautionGlycol, Caution: briefDrift,
	},
	{
		Alarm: detect.PressureRise, Priority: detect.High, Scope: Batch,
		OnDelay: 30 * time.Minute, OffDelay: 30 * time.Minute,
		SuppressedBy: []detect.Alarm{detect.OverPressure},
		Title:        "head pressure rises and nothing logged explains it",
		Meaning:      "Head pressure rises by more than temperature, logged gas and the CO2 known to be in the beer explain.",
		LookFirst:    "Was CO2 left on, or the tank closed with air in it? If not, sample for gravity: the beer may be working.",
		Safety:       cautionCO2, Caution: briefCO2,
	},
	{
		Alarm: detect.Leak, Priority: detect.Medium, Scope: Batch,
		OffDelay:  time.Hour,
		Title:     "losing head pressure",
		Meaning:   "A closed tank loses CO2 that cooling does not explain.",
		LookFirst: "Soap the clamps, the manway and the sample valve; see whether the relief valve has seated.",
		Safety:    cautionCO2, Caution: briefCO2,
	},
	{
		Alarm: detect.FreezeRisk, Priority: detect.High, Scope: Batch,
		OnDelay: 30 * time.Minute, OffDelay: 30 * time.Minute,
		Title:     "beer is close to freezing",
		Meaning:   "Beer is near the freezing point worked out from its own alcohol and extract.",
		LookFirst: "Is the glycol valve stuck open, is the setpoint the one you want?",
		Safety:    cautionFreezing, Caution: briefFreezing,
	},
	{
		Alarm: detect.NotFinished, Priority: detect.Medium, Scope: Batch, Lasting: true,
		Title:     "gravity still fell as the beer was taken on",
		Meaning:   "The log says crashed, hopped cold or packaged while a float surely showed gravity falling still. A gravity that was only not shown to stand is no alarm: the hold points say so.",
		LookFirst: "Compare gravity with the expected end gravity and, if in doubt, run a forced diacetyl test before going on.",
		Safety:    cautionPackages, Caution: briefPackages,
	},
	{
		Alarm: detect.ProbeSilent, Priority: detect.Medium, Scope: Batch,
		SuppressedBy: []detect.Alarm{detect.LinkLost, JournalStopped},
		Title:        "nothing heard from a probe",
		Meaning:      "A probe has said nothing for longer than its own habit.",
		LookFirst:    "Is its battery flat, is it still in the tank, is steel or a full tank between it and its receiver?",
	},
	{
		Alarm: detect.HopCharge, Priority: detect.Low, Scope: Batch,
		Title:     "hops in?",
		Meaning:   "A float jumped and the tank was opened, as by a dry-hop, and the log has none. The watch goes on as it was.",
		LookFirst: "Log the dry-hop with its time, so that what hops do is allowed for. Was it something else? Then let it be.",
		Safety:    cautionHops, Caution: briefHops,
	},
	{
		Alarm: detect.ProbeFault, Priority: detect.Medium, Scope: Batch,
		OffDelay:  30 * time.Minute,
		Title:     "a probe cannot be believed",
		Meaning:   "A probe is stuck, wild, or contradicts the others.",
		LookFirst: "Take a reading by hand and log it. Hops on a float or a blocked gauge line are the usual reasons.",
	},
}

// Catalogue returns the definition of every alarm, parents before those they silence.
func Catalogue() []Definition { return slices.Clone(catalogue) }

// Define returns the definition of one alarm, and whether the catalogue has it.
func Define(a detect.Alarm) (Definition, bool) {
	if i := place(a); i < len(catalogue) {
		return catalogue[i], true
	}
	return Definition{}, false
}

// place is where an alarm stands in the catalogue; one that it lacks comes last.
func place(a detect.Alarm) int {
	if i := slices.IndexFunc(catalogue, func(d Definition) bool { return d.Alarm == a }); i >= 0 {
		return i
	}
	return len(catalogue)
}
