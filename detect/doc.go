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
// Take begins a moment (speaker.go), notes who spoke (silence.go), keeps the
// newest value, holds it against its probe's habit (fault.go), and hands the
// reading on by its quantity:
//
//   - gravity to the float's witness: its hours in gravity.go, what bends them
//     in gravity_bends.go, what creep explains in gravity_fit.go, how fast it
//     falls in gravity_fall.go;
//   - pressure, through one gate, to the vessel's limits (head.go, relief.go,
//     vacuum.go), to the gauge's witness (its half hours in gauge.go, the fit in
//     gauge_fit.go and gauge_lags.go, what may pass for creep in gauge_lift.go
//     and gauge_step.go, the last word in gauge_verdict.go; without a
//     thermometer in gauge_lone.go), to the CO2 balance (balance.go), and to the
//     watch for leaks (leak.go, by hours in gauge_drop.go, by days in
//     leak_days.go);
//   - temperature to the setpoint watch (drift.go, ahead in heading.go, what is a
//     door in drift_door.go) and, as an input, to the witnesses.
//
// The verdict on floats, gauges and what hands read (hand.go) stands in
// refermentation.go, where it leads in forecast.go. Log asks whether gravity had
// stood before people went on (finished.go) and opens what an act touches
// (book.go): gas, hops, a new setpoint; a line that comes late or puts another
// right is for amend.go. Tick, once a minute, is for what only the passing of
// time can show.
//
// # Time, order and loss
//
// The package is pure: it reads no clock, does no I/O and uses no randomness.
// A reading's own time orders its probe's curve; its arrival says when a thing
// could be known. The same arrivals give the same findings, live, replayed or
// restarted from a snapshot at any point. What several probes send in one moment
// may come in any order: none tells another of that moment what it knows
// (speaker.go, witness.go). Late readings (already judged past) are left out,
// and so are values that cannot come from beer.
package detect
