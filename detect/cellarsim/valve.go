package cellarsim

import "time"

// valves is how a tank holds its pressure.
type valves struct {
	open       bool
	spund      float64 // kPa gauge, ceiling; 0: none
	hold       float64 // kPa gauge, floor of a regulator left on
	held       bool    // that regulator is on
	creep      float64 // kPa/h by which the regulator rises
	heldFrom   time.Duration
	relief     float64 // kPa gauge; 0: none
	leakPerDay float64 // share of the gauge pressure that leaks out in a day, without the beer's answer
}

// Valves, common practice: a spunding valve closes a little under its setting, a relief valve a tenth under its own.
const (
	spundDeadband = 0.5 // kPa
	reliefReseat  = 0.9
)

// regulate lets the valves and the leaks act over the hours that have just gone.
func (v *vessel) regulate(hours float64) {
	if v.valves.open {
		v.breathe()
		return
	}
	v.leak(hours)
	if w := v.valves; w.held {
		v.feedTo(w.hold + w.creep*(v.now-w.heldFrom).Hours())
	}
	if s := v.valves.spund; s > 0 && v.gauge() > s {
		v.ventTo(max(0, s-spundDeadband))
	}
	if r := v.valves.relief; r > 0 && v.gauge() > r {
		v.ventTo(r * reliefReseat)
	}
}

// leak loses a share of the gauge pressure; under a vacuum, air comes in.
func (v *vessel) leak(hours float64) {
	lost := v.valves.leakPerDay * hours / 24 * v.gauge()
	if lost > 0 {
		v.ventTo(v.gauge() - lost)
		return
	}
	v.head.inert -= lost / v.head.perMole()
}
