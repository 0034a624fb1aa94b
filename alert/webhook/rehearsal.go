package webhook

import (
	"time"

	"spile/alert"
	"spile/detect"
)

// rehearsals are messages of every sort that a template must be able to write: a test, one with nothing to show for it,
// one with all evidence there can be, a repeat of it, what follows a call, and those that are of no alarm.
func rehearsals() []alert.Message {
	at := time.Unix(0, 0).UTC()
	bare := alert.Transition{
		ID: "rehearsal", Time: at, Tank: "FV1", Alarm: detect.ProbeSilent, Probe: "hyd-1", Priority: detect.Medium,
		From: alert.Normal, To: alert.Unacknowledged, Summary: "nothing is wrong",
	}
	full := bare
	full.Alarm, full.Onset, full.Evidence = detect.Refermentation, at, allEvidence(at)
	out := []alert.Message{alert.TestMessage(at), alert.NewMessage(bare, nil), alert.NewMessage(full, nil)}
	for _, to := range []alert.State{alert.Acknowledged, alert.Returned, alert.Shelved, alert.Normal} {
		step := full
		step.From, step.To, step.By, step.Why = alert.Unacknowledged, to, "somebody", "it is known"
		if to == alert.Shelved {
			step.Until = at.Add(time.Hour)
		}
		out = append(out, alert.NewMessage(step, nil))
	}
	again := alert.NewMessage(full, nil)
	again.Repeat, again.Told, again.Acknowledge = 1, at.Add(time.Hour), "https://cellar.example/"
	out = append(out, again)
	for _, kind := range []alert.Kind{alert.KindFlood, alert.KindReport, alert.KindNotice, alert.KindQuestion} {
		out = append(out, alert.Message{Kind: kind, Transition: alert.Transition{ID: "rehearsal", Time: at, Summary: "nothing is wrong"}})
	}
	return out
}

// allEvidence has every part set.
func allEvidence(at time.Time) detect.Evidence {
	figure, rate, span := 1.0, detect.Interval{Value: 1, Low: 1, High: 1}, detect.Span{Low: at, High: at}
	return detect.Evidence{
		RatePlatoPerDay: &rate, CO2GramsPerLiterDay: &rate, Onset: &span, Witnesses: []string{"hyd-1"}, RuledOut: []string{"warming"},
		Forecast: &detect.Forecast{
			AddedABVPerDay: &rate, AddedVolumesPerDay: &rate, LimitReached: &span, Limit: "relief", LeftPlato: &rate, EndGravity: &rate,
			Still: &span, AddedABV: &rate, AddedVolumes: &rate, PackageKPa: &rate, StorageCelsius: &figure, Note: "the curve is short yet",
		},
		TemperatureCelsius: &figure, SetpointCelsius: &figure, PressureKPa: &figure, ExplainedPressureKPa: &figure, ReliefKPa: &figure,
		SilentSince: &at, Probe: "hyd-1",
	}
}
