// Package detect understands what the beer is doing.
//
// A [Tank] takes the readings of its probes and the lines of the cellar log in
// the order they were journalled, and answers with findings: yeast working
// again, beer leaving its setpoint, head pressure that nothing explains, a
// probe that fell silent. It owns the nouns that every other package speaks in
// ([Reading], [Event], [Finding], [Status]) and the judgement; it does not own
// alarms, their delays or their telling.
//
// # One reading's walk
//
// Take notes who spoke (silence.go), keeps the newest value, holds it against
// its probe's habit (fault.go), and hands the reading on by its quantity:
// gravity to the float's witness (gravity.go), pressure to the gauge's
// (gauge.go), to the CO2 balance (balance.go) and to the vessel's limits
// (head.go), temperature to the setpoint watch (drift.go) and, as an input, to
// both witnesses. The verdict on the two witnesses stands in refermentation.go. Log asks whether gravity had stood
// before people went on (finished.go) and opens what an act touches: gas, hops,
// a new setpoint. Tick, once a minute, is for what only the passing of time can
// show.
//
// # Time, order and loss
//
// The package is pure: it reads no clock, does no I/O and uses no randomness.
// A reading's own time orders its probe's curve; its arrival says when a thing
// could be known. The same arrivals give the same findings, live, replayed or
// restarted from a snapshot at any point. What several probes send in one moment
// may come in any order: none tells another of that moment what it knows
// (speaker.go, witness.go). Late readings (already judged past)
// are left out, and so are values that cannot come from beer.
package detect
