// Package beer is the physical chemistry of a tank of beer: gravity and extract, alcohol and the CO2 that yeast makes,
// how much CO2 beer holds, what pressure that means in a tank or a package, and where beer freezes; and the units in which
// a brewer writes all these.
//
// Every formula names its published source, the range it was published for and its error. The functions that return an
// error refuse a figure outside that range and say what the range is; those that return none (Henry, ApparentPlato and the
// methods of ClosedTank) are for the detectors' inner loop: they allocate nothing, never fail, and hold their arguments
// to the range. Figures are in the inside unit of their Kind unless a name says otherwise; pressures named absolute
// include the atmosphere, all others are what a gauge shows.
//
// It is arithmetic only: no state, no clock, no input or output, safe for any number of callers. It is not a safety
// device. A pressure computed here is for an equilibrium that a real tank may reach late, or never, and a real beer may
// differ from the model by CO2ModelUncertainty and more; relief valves, makers' ratings, local codes and the people
// licensed for them decide.
package beer

import "errors"

// ErrRange is inside every error that refuses a figure because its formula does not hold there.
var ErrRange = errors.New("outside the range")
