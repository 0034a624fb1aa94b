package alert

import (
	"slices"
	"time"

	"spile/detect"
	"spile/detect/caution"
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
		Meaning:   "The broker is out of reach, so no probe behind it is heard.",
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
		Alarm: InfluxBehind, Priority: detect.Medium, Scope: Cellar,
		OffDelay:  15 * time.Minute, // one that flaps is told once
		Title:     "InfluxDB takes no readings",
		Meaning:   "InfluxDB has taken no readings for an hour, so what is drawn from it stands still. The tanks are watched, and nothing is lost.",
		LookFirst: "Is InfluxDB running, within reach, its disk full, its token right? Mend it and the readings follow by themselves. Until then look at the pages of spile.",
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
		Safety:    caution.Cooling, Caution: caution.BriefCooling,
	},
	{
		Alarm: detect.OverPressure, Priority: detect.Critical, Scope: Vessel,
		OffDelay:  30 * time.Minute, // a relief valve lifts and reseats: one call, not ten (common practice)
		Title:     "head pressure is at or nearing the relief setting",
		Meaning:   "Head pressure has come close to the setting of the pressure relief valve, or will reach it within the hour.",
		LookFirst: "From a safe place, read the gauge at the tank: is it still rising, does the spunding or relief valve pass gas? Is CO2 on? Shut it at its supply.",
		Safety:    caution.OverPressure, Caution: caution.BriefOverPressure,
	},
	{
		Alarm: detect.Vacuum, Priority: detect.Critical, Scope: Vessel,
		OnDelay: time.Minute, OffDelay: 5 * time.Minute,
		Title:     "head pressure is falling below atmosphere",
		Meaning:   "Head pressure has fallen below the air outside, or will: cooling or emptying a closed tank can collapse it.",
		LookFirst: "Is the tank being cooled, emptied or cleaned while closed? Is the vacuum breaker free?",
		Safety:    caution.Vacuum, Caution: caution.BriefVacuum,
	},
	{
		Alarm: detect.Refermentation, Priority: detect.High, Scope: Batch,
		OffDelay:  time.Hour,
		Title:     "beer is fermenting again (hop creep?)",
		Meaning:   "Yeast is working again in beer that had finished: gravity falls, or CO2 is made that nothing else explains.",
		LookFirst: "Read the gauge at the tank, sample for gravity and diacetyl, and hold back what was already packaged from it.",
		Safety:    caution.Room + " " + caution.Packages, Caution: caution.BriefRoom + " " + caution.BriefPackages,
	},
	{
		Alarm: detect.CrashDrift, Priority: detect.High, Scope: Batch,
		OnDelay: 20 * time.Minute, OffDelay: 10 * time.Minute,
		SuppressedBy: []detect.Alarm{CoolingPlant}, // where it is warm
		Title:        "beer is off its crash setpoint",
		Meaning:      "Beer is warmer or colder than its crash setpoint allows, is on its way there, or cooling has stalled.",
		LookFirst:    "Is glycol flowing to this tank, is the valve where it should be, do other tanks warm too?",
		Safety:       caution.Drift + " " + caution.Glycol, Caution: caution.BriefDrift,
	},
	{
		Alarm: detect.PressureRise, Priority: detect.High, Scope: Batch,
		OnDelay: 30 * time.Minute, OffDelay: 30 * time.Minute,
		SuppressedBy: []detect.Alarm{detect.OverPressure},
		Title:        "head pressure rises and nothing logged explains it",
		Meaning:      "Head pressure rises by more than temperature, logged gas and the CO2 known to be in the beer explain, or unseen by any thermometer.",
		LookFirst:    "Has the beer warmed? Was CO2 left on, or the tank closed with air in it? If not, sample for gravity: it may be working.",
		Safety:       caution.Room, Caution: caution.BriefRoom,
	},
	{
		Alarm: detect.Leak, Priority: detect.Medium, Scope: Batch,
		OffDelay:  time.Hour,
		Title:     "losing head pressure",
		Meaning:   "A closed tank loses CO2 that cooling does not explain.",
		LookFirst: "Soap the clamps, the manway and the sample valve; see whether the relief valve has seated.",
		Safety:    caution.Room, Caution: caution.BriefRoom,
	},
	{
		Alarm: detect.FreezeRisk, Priority: detect.High, Scope: Batch,
		OnDelay: 30 * time.Minute, OffDelay: 30 * time.Minute,
		Title:     "beer is close to freezing",
		Meaning:   "Beer is near the freezing point worked out from its own alcohol and extract.",
		LookFirst: "Is the glycol valve stuck open, is the setpoint the one you want?",
		Safety:    caution.Freezing, Caution: caution.BriefFreezing,
	},
	{
		Alarm: detect.NotFinished, Priority: detect.Medium, Scope: Batch, Lasting: true,
		Title:     "gravity still fell as the beer was taken on",
		Meaning:   "The log says crashed, hopped cold or packaged while a float surely showed gravity falling still. A gravity that was only not shown to stand is no alarm: the hold points say so.",
		LookFirst: "Compare gravity with the expected end gravity and, if in doubt, run a forced diacetyl test before going on.",
		Safety:    caution.Packages, Caution: caution.BriefPackages,
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
		Safety:    caution.HopsUnlogged, Caution: caution.BriefHops,
	},
	{
		Alarm: detect.GravityCheck, Priority: detect.Low, Scope: Batch,
		SuppressedBy: []detect.Alarm{detect.Refermentation},
		Title:        "gravity by hand?",
		Meaning: "A float may see gravity fall, or it drifts: it alone cannot tell yet. The watch goes on as it was. The question stands " +
			"with the figures of when it was asked, until a gravity answers it or the float shows no fall any more.",
		LookFirst: "In the morning read a degassed sample by hand and log gravity: the watch counts it beside the float. Read one again the next day.",
		Safety:    caution.Sample + " " + caution.Room, Caution: caution.Sample + " " + caution.BriefRoom,
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
