package alert

import (
	"slices"
	"time"

	"spile/detect"
	"spile/detect/batch"
)

// holdPoint comes before the hold point that a stage leads to.
const holdPoint = "next hold point: "

// coolEnough is how far over its setpoint beer may be and still count as cold, K, as the batch has it.
const coolEnough = 1.0

// stage is where a tank's beer is, in the words of its batch, and which hold point comes next. The watch keeps no curves:
// it goes by the log, the newest temperature and its own alarms, and where these do not tell it says nothing.
func (w Words) stage(t TankView, at time.Time) string {
	name, since := stageOf(t, at)
	text := name.Title()
	switch {
	case t.Empty:
		return text
	case name == batch.StageUnknown && t.Working && !t.Finished:
		text = batch.Fermenting.Title() + " or " + batch.AtTerminal.Title()
	case name == batch.StageUnknown:
		return ""
	case !since.IsZero():
		text += " since " + w.When(since, at)
	}
	return text + ", " + holdPoint + nextPoint(t, name)
}

// stageOf is the stage that a tank's state gives, and since when where that is known.
func stageOf(t TankView, at time.Time) (batch.StageName, time.Time) {
	anew := slices.IndexFunc(t.Incidents, func(i Incident) bool {
		return i.Alarm == detect.Refermentation && !isOver(i.State)
	})
	switch {
	case t.Empty:
		return batch.EmptyTank, time.Time{}
	case anew >= 0:
		return batch.FermentingAnew, t.Incidents[anew].Began()
	case !t.HoppedSince.IsZero():
		return batch.OnHops, t.HoppedSince
	case !t.Finished || t.SetpointCelsius == nil:
		return batch.StageUnknown, time.Time{}
	}
	beer, read := t.Last[detect.Temperature]
	switch {
	case !read || at.Sub(beer.Time) > freshFigures:
		return batch.StageUnknown, time.Time{}
	case beer.Value <= *t.SetpointCelsius+coolEnough:
		return batch.Cold, time.Time{} // when it came there is in the curves
	}
	return batch.Cooling, t.SetpointSince
}

// nextPoint is the hold point that a stage leads to. Of beer that is cold and on no hops, a watch does not know whether
// its hops are behind it.
func nextPoint(t TankView, name batch.StageName) string {
	switch name {
	case batch.OnHops:
		if t.SetpointCelsius != nil && t.SetpointSince.After(t.HoppedSince) {
			return batch.PackagePoint
		}
	case batch.Cooling, batch.Cold:
		return batch.DryHopPoint + " or " + batch.PackagePoint
	}
	return batch.CrashPoint
}
