package alert

import (
	"cmp"
	"slices"
	"time"

	"spile/detect"
)

// View is the cellar as it stands, for pages and metrics.
type View struct {
	At        time.Time
	Tanks     []TankView // by name; a name under which probes outside alone speak is no tank
	Air       []Air      // of each probe outside, by name
	Incidents []Incident // every alarm that is not normal, the most pressing first
}

// Air is the newest that a probe outside said, right or wrong, kPa absolute.
type Air struct {
	detect.Latest
	Tank string // the name it is published under
}

// TankView is one tank as it stands.
type TankView struct {
	detect.Status
	Incidents []Incident // this tank's, the most pressing first
}

// View is the cellar as it stands at the newest time the Watch was told. It shares nothing that the Watch will change.
func (w *Watch) View() View {
	view := View{At: w.at, Incidents: w.cellar.incidents()}
	for _, v := range w.vessels {
		tank := TankView{Status: v.tank.Status(), Incidents: v.incidents()}
		for i := range tank.Incidents {
			tank.Incidents[i].Now = nowOf(tank.Incidents[i].Alarm, tank.Status)
		}
		for _, l := range tank.Air {
			view.Air = append(view.Air, Air{l, v.name})
		}
		if w.isTank(tank.Status) {
			view.Tanks = append(view.Tanks, tank)
		}
		view.Incidents = append(view.Incidents, tank.Incidents...)
	}
	slices.SortStableFunc(view.Incidents, compareIncidents)
	slices.SortStableFunc(view.Air, func(a, b Air) int {
		return cmp.Or(cmp.Compare(a.Probe, b.Probe), b.Time.Compare(a.Time))
	})
	view.Air = slices.CompactFunc(view.Air, func(a, b Air) bool { return a.Probe == b.Probe }) // one that was moved
	return view
}

// isTank tells a tank from a name under which probes outside alone speak. What the config names is always one.
func (w *Watch) isTank(s detect.Status) bool {
	_, named := w.options.Tanks[s.Tank]
	return named || !s.Outside
}

// OfNoTank are the incidents of what is not among the tanks: the cellar's own and those of probes outside.
func (v View) OfNoTank() []Incident {
	var out []Incident
	for _, i := range v.Incidents {
		if !v.Has(i.Tank) {
			out = append(out, i)
		}
	}
	return out
}

// Has tells whether a tank of this name is there.
func (v View) Has(tank string) bool {
	return slices.ContainsFunc(v.Tanks, func(t TankView) bool { return t.Tank == tank })
}

// incidents are the alarms of a tank that are not normal, the most pressing first.
func (v *vessel) incidents() []Incident {
	var out []Incident
	for _, c := range v.conditions {
		if c.Standing.State() != Normal {
			out = append(out, c.incident(v.name))
		}
	}
	slices.SortStableFunc(out, compareIncidents)
	return out
}

// compareIncidents puts first what calls a person, then by priority, then the oldest.
func compareIncidents(a, b Incident) int {
	return cmp.Or(
		cmp.Compare(a.State.need(), b.State.need()),
		cmp.Compare(b.Priority.Rank(), a.Priority.Rank()),
		a.Since.Compare(b.Since),
		cmp.Compare(a.Tank, b.Tank),
	)
}

// need orders states by how much they ask of a person, the most first.
func (s State) need() int {
	order := []State{Unacknowledged, Acknowledged, Returned, Shelved, Suppressed, OutOfService, Normal}
	if i := slices.Index(order, s); i >= 0 {
		return i
	}
	return len(order)
}
