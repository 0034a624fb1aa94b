package alert

import (
	"time"

	"spile/detect"
)

// What can befall spile itself. The daemon finds it, not a detector.
const (
	// JournalDisk says that the disk is nearly full: readings are still kept and judged.
	JournalDisk detect.Alarm = "journal-disk"
	// JournalStopped says that nothing can be kept, so that nothing is acknowledged, and nothing is judged.
	JournalStopped detect.Alarm = "journal-stopped"
	// JournalDamaged says that the journal's file was found damaged, and what was saved of it.
	JournalDamaged detect.Alarm = "journal-damaged"
	// InfluxBehind says that InfluxDB has taken no readings for an hour. The probes are heard and judged all the same.
	InfluxBehind detect.Alarm = "influx-behind"
	// InfluxMissed says that the journal's size limit thinned readings which InfluxDB had not had.
	InfluxMissed detect.Alarm = "influx-missed"
	// ProbeFlood says that a device sends without end, or makes up tanks.
	ProbeFlood detect.Alarm = "probe-flood"
)

// Fails says that since this time something is wrong with spile itself, and what.
func (w *Watch) Fails(at time.Time, a detect.Alarm, problem string) []Transition {
	out := w.Advance(at)
	f := detect.Finding{Alarm: a, Active: true, Time: w.at, Onset: w.at, Summary: problem}
	if c := w.cellar.find(a, ""); c != nil && c.Holds {
		f.Onset = c.Finding.Onset
	}
	w.cellar.hear([]detect.Finding{f}, w.at)
	return append(out, w.tell(w.settleAll())...)
}

// Works says that it is right again. While nothing could be kept, nobody was silent.
func (w *Watch) Works(at time.Time, a detect.Alarm) []Transition {
	out := w.Advance(at)
	c := w.cellar.find(a, "")
	if c == nil || !c.Holds {
		return out
	}
	if a == JournalStopped {
		for _, v := range w.vessels {
			v.tank.Away(c.Changed, w.at)
		}
	}
	w.cellar.hear([]detect.Finding{{Alarm: a, Time: w.at}}, w.at)
	return append(out, w.tell(w.settleAll())...)
}

// Failing tells whether it was last said to fail so, whatever stands of the alarm.
func (w *Watch) Failing(a detect.Alarm) bool {
	c := w.cellar.find(a, "")
	return c != nil && c.Holds
}
