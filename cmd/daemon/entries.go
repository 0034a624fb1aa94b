package daemon

import (
	"fmt"
	"strings"
	"time"

	"spile/alert"
	"spile/detect"
	"spile/ingest"
	"spile/ingest/journal"
)

// The verbs of acts and the names of marks, as the journal keeps them.
const (
	verbAcknowledge = "acknowledge"
	verbShelve      = "shelve"
	verbUnshelve    = "unshelve"

	markStarted = "started"
	markLost    = "link-lost"
	markFound   = "link-found"
	markFailing = "webhook-failing" // detail: the webhook's name, ": ", what came back
	markWorks   = "webhook-works"   // detail: the webhook's name

	markSpeaks  = "speaks"  // of two spiles, this one tells people
	markSilent  = "silent"  // the other does
	markLease   = "lease"   // detail: the number that both know
	markAdopted = "adopted" // detail: what the other handed over, an alert.Handover as JSON

	markStopped   = "journal-stopped" // detail: why
	markGoes      = "journal-goes"
	markDiskLow   = "disk-low" // detail: what is left
	markDiskRoomy = "disk-roomy"
	markMissed    = "influx-missed" // detail: what
	markBehind    = "influx-behind" // detail: why, and since when
	markCopies    = "influx-copies"
	markFlood     = "probe-flood" // detail: what
)

// take hands one entry to the watch.
func (j *judge) take(e journal.Entry) []alert.Transition {
	j.seq = e.Seq
	switch {
	case e.Reading != nil:
		return j.watch.Take(*e.Reading)
	case e.Event != nil:
		return j.watch.Log(*e.Event)
	case e.Act != nil:
		return j.act(e)
	case e.Mark != nil:
		return j.mark(e)
	}
	return nil
}

func (j *judge) act(e journal.Entry) []alert.Transition {
	var out []alert.Transition
	var err error
	a := e.Act
	switch a.Verb {
	case verbAcknowledge:
		out, err = j.watch.Acknowledge(a.Incident, a.By, a.Why, e.Arrived)
	case verbShelve:
		out, err = j.watch.Shelve(a.Incident, a.By, a.Why, a.Until, e.Arrived)
	case verbUnshelve:
		out, err = j.watch.Unshelve(a.Incident, a.By, a.Why, e.Arrived)
	default:
		err = fmt.Errorf("nobody knows how to %q an alarm", a.Verb)
	}
	j.answers[e.Seq] = err
	if j.acts = append(j.acts, e.Seq); len(j.acts) > answersKept {
		delete(j.answers, j.acts[0])
		j.acts = j.acts[1:]
	}
	return out
}

func (j *judge) mark(e journal.Entry) []alert.Transition {
	switch e.Mark.Name {
	case markStarted, ingest.MarkLeapt:
		return startedAt(j.watch, e)
	case markLost:
		return j.watch.LinkLost(e.Arrived, e.Mark.Detail)
	case markFound:
		return j.watch.LinkFound(e.Arrived)
	case markFailing:
		name, problem, _ := strings.Cut(e.Mark.Detail, ": ")
		return j.watch.WebhookFails(e.Arrived, name, problem)
	case markWorks:
		return j.watch.WebhookWorks(e.Arrived, e.Mark.Detail)
	case markSpeaks, markSilent:
		return j.watch.Speak(e.Mark.Name == markSpeaks, e.Arrived)
	case markLease:
		return j.watch.Lease(e.Mark.Detail, e.Arrived)
	case markAdopted:
		return j.adopt(e)
	}
	return j.trouble(e)
}

// trouble takes a mark of the journal's own trouble.
func (j *judge) trouble(e journal.Entry) []alert.Transition {
	switch at := e.Arrived; e.Mark.Name {
	case markStopped:
		return j.watch.Fails(at, alert.JournalStopped, e.Mark.Detail)
	case markGoes:
		return j.watch.Works(at, alert.JournalStopped)
	case markDiskLow:
		return j.watch.Fails(at, alert.JournalDisk, e.Mark.Detail)
	case markDiskRoomy:
		return j.watch.Works(at, alert.JournalDisk)
	case journal.MarkDamaged:
		return j.once(at, alert.JournalDamaged, e.Mark.Detail)
	case markBehind:
		return j.watch.Fails(at, alert.InfluxBehind, e.Mark.Detail)
	case markCopies:
		return j.watch.Works(at, alert.InfluxBehind)
	case markMissed:
		return j.once(at, alert.InfluxMissed, e.Mark.Detail)
	case markFlood:
		return j.once(at, alert.ProbeFlood, e.Mark.Detail)
	}
	return nil
}

// once raises an alarm of what is over already, and is to be seen by somebody.
func (j *judge) once(at time.Time, a detect.Alarm, detail string) []alert.Transition {
	out := j.watch.Fails(at, a, detail)
	return append(out, j.watch.Works(at, a)...)
}

// startedAt runs the minutes that the watch had come to before spile ended, or the clock leapt, which
// the mark bears: no other entry has them, and a rebuild must judge them too.
func startedAt(w *alert.Watch, e journal.Entry) []alert.Transition {
	var out []alert.Transition
	if before, err := time.Parse(time.RFC3339Nano, e.Mark.Detail); err == nil && !before.IsZero() && !before.After(e.Arrived) {
		out = w.Advance(before)
	}
	return append(out, w.Started(e.Arrived)...)
}
