package trial

import (
	"time"

	"spile/detect/cellarsim"
)

// How lows pass (judgement). They are those of a stormy coast rather than of a mild valley: 24 hPa in 24 h, at the center
// of a low at 60 degrees, is what meteorologists call explosive (Sanders and Gyakum 1980, from memory), and a barometer
// that a low passes over moves faster than its center deepens.
const (
	stormyShare   = 0.3 // of all runs; the others have the wander of the weather alone
	frontsApart   = 160.0
	frontsNear    = 40.0 // h from one's beginning to the next one's
	frontsShallow = 0.8  // kPa
	frontsDeep    = 2.2
)

// fronts draws the lows that pass over a run, the first one of them before it begins. Most runs have none.
func (d draw) fronts(end time.Duration) []cellarsim.Front {
	if !d.chance(stormyShare) {
		return nil
	}
	var out []cellarsim.Front
	for at := d.hours(-frontsApart, 0); at < end; at += d.hours(frontsNear, frontsApart) {
		out = append(out, cellarsim.Front{
			Begins: at, Lasts: d.hours(8, 20), KPa: -d.between(frontsShallow, frontsDeep), Returns: d.hours(20, 60),
		})
	}
	return out
}
