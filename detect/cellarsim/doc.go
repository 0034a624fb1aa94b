// Package cellarsim is a physical model of a cellar: tanks of beer, their gas, their cooling, the people who work on
// them, and the probes and radios through which all that is seen. The demo publishes it, detection trials are scored
// against its truth, and tests draw their cellars from it.
//
// # What a tank obeys
//
// Extract falls by scripted curves ([Creep], [Pitch]); each degP eaten makes the CO2 that Balling's balance gives. CO2
// passes between beer and head space with an exchange lag, toward the solubility at the partial pressure of CO2; air
// stays in the head space until the next opening. Head pressure follows from the ideal gas law. Valves, leaks, gas from
// a bottle and beer drawn move whole grams, so that CO2 is neither made nor lost: see [Truth.Unbalanced]. Beer follows
// its jacket and its surroundings as a first-order lag under a two-point thermostat. The heat of fermentation, the
// swelling of beer by warmth, layers in the tank and the vapor of the beer are left out.
//
// # Order, loss and chance
//
// A [Cellar] hands out messages in the order of their arrival. What a radio loses never arrives, what it repeats comes
// twice, what it delays comes late; everything else arrives exactly once. The package is pure: time starts at an
// argument, randomness is an argument, and a cellar's messages depend on both and on its plan alone, not on the steps
// in which it is run. Every tank, probe and radio draws from a stream of its own, so a changed radio leaves the noise
// of its probe as it was.
//
// A Cellar is for one goroutine. It is a model for demonstration and for trials; it proves nothing about a real vessel.
package cellarsim
