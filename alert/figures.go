package alert

import (
	"cmp"
	"slices"
	"time"

	"spile/detect"
)

// What the figures of an alarm system are counted by. Terms and flood are those of ANSI/ISA-18.2; its minute in which
// chattering is looked for is made an hour, for a cellar moves in hours and its delays let nothing ring thrice in one.
const (
	ChatterCalls  = 3              // calls of one alarm ...
	ChatterWindow = time.Hour      // within which it chatters
	StaleAfter    = 24 * time.Hour // from which an alarm that still stands is stale
	TopAlarms     = 10             // whose share of all calls is told
)

// The stretch of the figures where none is asked for: thirty days are the least that ANSI/ISA-18.2 wants to see. Less than
// a day would make a rate of one bad hour. Steps are read from further back, so that an alarm which stood all the while
// is known; how far is our choice.
const (
	figuresMost     = 30 * 24 * time.Hour
	figuresLeast    = 24 * time.Hour
	FiguresLookBack = 90 * 24 * time.Hour
)

// FiguresFrom is where the stretch of figures begins that ends at a moment: thirty days before or, where spile has not
// watched for so long, when it began to, a day before at least. A zero began is not known.
func FiguresFrom(began, to time.Time) time.Time {
	from, latest := to.Add(-figuresMost), to.Add(-figuresLeast)
	switch {
	case !began.After(from):
		return from
	case began.After(latest):
		return latest
	}
	return began
}

// FiguresReport is how an alarm system did over a stretch of time, in the figures that ANSI/ISA-18.2 asks to be watched.
// A call is an alarm that begins to ask for an answer: raised, come back, or no longer kept quiet. The standard asks for
// thirty days at least.
type FiguresReport struct {
	From          time.Time               `json:"from"`
	To            time.Time               `json:"to"`
	Calls         int                     `json:"calls"`
	CallsPerDay   float64                 `json:"calls_per_day"`
	NightCalls    int                     `json:"night_calls"` // between 22:00 and 07:00: what a small brewery feels
	MostInTenMin  int                     `json:"most_in_ten_minutes"`
	FloodShare    float64                 `json:"flood_share"` // of the time: from more than ten calls in ten minutes until fewer than five
	ByPriority    map[detect.Priority]int `json:"by_priority"`
	Top           []AlarmCount            `json:"top"`                   // the ten that call most
	TopShare      float64                 `json:"top_share"`             // of all calls
	Chattering    []AlarmCount            `json:"chattering"`            // the most calls within an hour, three and more
	Stale         []AlarmCount            `json:"stale"`                 // that stood for more than 24 hours within the stretch
	MedianSeconds float64                 `json:"median_answer_seconds"` // from a call to its acknowledgement; 0: none was acknowledged
}

// AlarmCount is an alarm and how often it was counted.
type AlarmCount struct {
	Tank  string       `json:"tank"`
	Alarm detect.Alarm `json:"alarm"`
	Probe string       `json:"probe,omitempty"`
	Count int          `json:"count"`
}

// source is what alarms are counted by.
type source struct {
	tank  string
	alarm detect.Alarm
	probe string
}

// figuring is the count under way.
type figuring struct {
	report  FiguresReport
	calls   []time.Time
	sources map[source][]time.Time // their calls
	answers []time.Duration
	called  map[string]time.Time // open incidents by id: when they last called
	stood   map[string]standing  // open incidents that stand, by id
	stale   map[source]int
}

// standing is since when an incident stands, whether anybody has answered or not.
type standing struct {
	source source
	since  time.Time
}

// Figures works out the figures of from (included) to to (excluded). The steps are in their order and may begin long
// before from: what was raised then and still stands counts as stale. Night is by the location of from.
func Figures(steps []Transition, from, to time.Time) FiguresReport {
	f := figuring{
		report:  FiguresReport{From: from, To: to, ByPriority: map[detect.Priority]int{}},
		sources: map[source][]time.Time{}, called: map[string]time.Time{}, stood: map[string]standing{}, stale: map[source]int{},
	}
	if !to.After(from) {
		return f.report
	}
	for _, t := range steps {
		if t.Time.Before(to) {
			f.take(t)
		}
	}
	for _, s := range f.stood {
		f.ended(s, to)
	}
	f.sum()
	return f.report
}

// take counts one step.
func (f *figuring) take(t Transition) {
	src := source{t.Tank, t.Alarm, t.Probe}
	switch t.To {
	case Unacknowledged, Acknowledged:
		if _, open := f.stood[t.ID]; !open {
			f.stood[t.ID] = standing{src, t.Time}
		}
	default:
		if s, open := f.stood[t.ID]; open {
			f.ended(s, t.Time)
			delete(f.stood, t.ID)
		}
	}
	if t.To == Acknowledged && t.From == Unacknowledged && !t.Time.Before(f.report.From) {
		if at, known := f.called[t.ID]; known {
			f.answers = append(f.answers, t.Time.Sub(at))
		}
	}
	if t.To != Unacknowledged {
		delete(f.called, t.ID)
		return
	}
	if _, ringing := f.called[t.ID]; !ringing {
		f.called[t.ID] = t.Time
	}
	if !t.Time.Before(f.report.From) {
		f.call(src, t)
	}
}

// call counts one call.
func (f *figuring) call(src source, t Transition) {
	f.calls = append(f.calls, t.Time)
	f.sources[src] = append(f.sources[src], t.Time)
	f.report.ByPriority[t.Priority]++
	if !isDay(t.Time.In(f.report.From.Location())) {
		f.report.NightCalls++
	}
}

// ended counts an alarm that was stale within the stretch.
func (f *figuring) ended(s standing, at time.Time) {
	if at.Sub(s.since) > StaleAfter && at.After(f.report.From) {
		f.stale[s.source]++
	}
}

// sum makes the report of what was counted.
func (f *figuring) sum() {
	r := &f.report
	r.Calls = len(f.calls)
	r.CallsPerDay = float64(r.Calls) / (r.To.Sub(r.From).Hours() / 24)
	r.MostInTenMin = mostWithin(f.calls, floodWindow)
	r.FloodShare = inFlood(f.calls, r.To).Seconds() / r.To.Sub(r.From).Seconds()

	count, chatter := map[source]int{}, map[source]int{}
	for src, calls := range f.sources {
		count[src] = len(calls)
		if most := mostWithin(calls, ChatterWindow); most >= ChatterCalls {
			chatter[src] = most
		}
	}
	r.Top, r.Chattering, r.Stale = ranked(count), ranked(chatter), ranked(f.stale)
	r.Top = r.Top[:min(len(r.Top), TopAlarms)]
	for _, top := range r.Top {
		r.TopShare += float64(top.Count) / float64(r.Calls)
	}
	if n := len(f.answers); n > 0 {
		slices.Sort(f.answers)
		r.MedianSeconds = (f.answers[(n-1)/2] + f.answers[n/2]).Seconds() / 2
	}
}

// ranked lists counts, the most first.
func ranked(counts map[source]int) []AlarmCount {
	out := make([]AlarmCount, 0, len(counts))
	for src, n := range counts {
		out = append(out, AlarmCount{Tank: src.tank, Alarm: src.alarm, Probe: src.probe, Count: n})
	}
	slices.SortFunc(out, func(a, b AlarmCount) int {
		return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Tank, b.Tank), cmp.Compare(a.Alarm, b.Alarm), cmp.Compare(a.Probe, b.Probe))
	})
	return out
}

// mostWithin is the most times that lie within a window, its end excluded.
func mostWithin(times []time.Time, window time.Duration) int {
	most, first := 0, 0
	for i, at := range times {
		for at.Sub(times[first]) >= window {
			first++
		}
		most = max(most, i-first+1)
	}
	return most
}

// inFlood is how long calls came in a flood: from the one that made it more than ten in ten minutes until fewer than
// five were left in them.
func inFlood(calls []time.Time, to time.Time) time.Duration {
	var total time.Duration
	var since time.Time
	first := 0
	for i, at := range calls {
		for at.Sub(calls[first]) >= floodWindow {
			leaves := calls[first].Add(floodWindow)
			first++
			left := i - first
			if leaves.Equal(at) {
				left++ // one leaves as another comes
			}
			if !since.IsZero() && left < floodEnds {
				total += leaves.Sub(since)
				since = time.Time{}
			}
		}
		if i-first+1 > floodBegins && since.IsZero() {
			since = at
		}
	}
	if since.IsZero() {
		return total
	}
	// After the last call the fifth from the end leaves the window last of those that keep the flood up.
	return total + detect.Earlier(calls[len(calls)-floodEnds].Add(floodWindow), to).Sub(since)
}
