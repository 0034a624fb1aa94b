package cellarsim

import "time"

// FloatStep shifts a float's gravity by SG, as hops that land on it, sink under it or let go of it do, and relaxes.
type FloatStep struct {
	Probe string
	SG    float64
	Relax time.Duration // time constant; 0: it stays
	silent
}

func (d FloatStep) probe() string { return d.Probe }
func (d FloatStep) do(r *rig)     { r.sensor(d.Probe).step(d.SG, d.Relax, r.vessel.now) }

// ProbeSticks makes a probe send the same values for some time.
type ProbeSticks struct {
	Probe string
	For   time.Duration // 0: for good
	silent
}

func (d ProbeSticks) probe() string { return d.Probe }
func (d ProbeSticks) do(r *rig)     { r.sensor(d.Probe).stuckTill = till(r.vessel.now, d.For) }

// ProbeFallsSilent makes a probe send nothing for some time: a flat battery.
type ProbeFallsSilent struct {
	Probe string
	For   time.Duration // 0: for good
	silent
}

func (d ProbeFallsSilent) probe() string { return d.Probe }
func (d ProbeFallsSilent) do(r *rig)     { r.sensor(d.Probe).silentTill = till(r.vessel.now, d.For) }

// forGood is later than any cellar.
const forGood = time.Duration(1<<63 - 1)

// till is the end of something that lasts for some time from now on.
func till(now, lasts time.Duration) time.Duration {
	if lasts == 0 {
		return forGood
	}
	return now + lasts
}
