// Package scenario reads and plays scenarios: small text files that tell of a tank, of what people did to it and what
// they logged, of what its beer really did, and of the alarms that should come of it, and when. It draws the readings
// from [cellarsim], or takes them as they are listed, and holds what was called against what was expected. It raises
// no alarm itself: whoever plays a scenario runs the watch.
//
// # A scenario
//
//	# Vent, dose, close again: the climb back is not yeast. The creep of day 3 is.
//	cellar: days 6, seed 7
//	tank FV3: beer 20 hL, headspace 2 hL, relief 200 kPa, temperature 14.4 degC, pressure 80 kPa
//	probe hyd-1: float, every 10 min, noise 0.0005 SG
//	probe well-3: thermowell
//	probe head-3: gauge
//	at day 0 09:00: crash setpoint=14.4degC
//	at day 1 09:00: vent
//	at day 1 09:20: dry-hop mass=9kg
//	at day 1 09:40: seal, air 5 %
//	at day 3 00:00: creep 0.6 degP, ramp 14 h, decay 60 h   # what really happens, nobody logs it
//	expect no pressure-rise
//	expect refermentation between day 3 04:00 and day 3 20:00
//	expect nothing else above low
//
// # Lines
//
// A statement begins at the margin; a line that is indented goes on with the statement above. What follows a # is for
// people, unless it stands in quotes. A statement is a word, what it is about, a colon, and clauses with commas between
// them. Figures take their units as everywhere in spile; a bare number is in the inside unit. A time is "day 3 04:00",
// counted from midnight before the scenario begins (day 0 and the days before it are history), or RFC 3339.
//
//	cellar: days N, seed N, start RFC3339, weather KPA (how far it wanders), barometer KPA (absolute),
//	    fronts TIME by KPA over DURATION returning DURATION then TIME by ... (a low: by -2 kPa, and back with that lag)
//	    Stands first, where it stands. Without it: 3 days from 2026-03-02, seed 1, still air.
//	tank NAME: beer VOLUME, headspace VOLUME, relief PRESSURE or no relief, temperature T, setpoint T, pressure P,
//	    air SHARE, original GRAVITY, extract GRAVITY, co2 G/L, exchange DURATION (lag of CO2 between beer and gas),
//	    open, spund P, gas P (left on), leak SHARE (a day), sun KELVIN (over the dome),
//	    room T, room-swing KELVIN, room-lag DURATION, jacket-lag DURATION, glycol T, band KELVIN
//	    What is not said is a closed unitank of 20 hL at 14.4 degC and 80 kPa. spile is told its volumes, its relief
//	    and whether it is closed, unless config says otherwise.
//	config TANK: beer VOLUME, headspace VOLUME, no volumes, relief P, no relief, sealed, not sealed, gas-group NAME,
//	    above KELVIN, below KELVIN
//	    What spile is told of the tank where that differs from what is true.
//	probe NAME: float or thermowell or gauge or barometer, every DURATION, first DURATION, noise N, wander N, resolution N, offset N,
//	    drift N (a day), wild SHARE, wild-by N, factory-sealed (a gauge), per-kelvin SG (a float), hop-step SG (a float),
//	    warmth-offset KELVIN (a float's thermometer), loss SHARE, repeat SHARE, late SHARE, late-by DURATION,
//	    gaps N (a day), gap DURATION, buffered, clock DURATION (ahead), clock-behind DURATION,
//	    at head or top or middle or bottom or cone
//	list PROBE: gravity or temperature or pressure, every DURATION, from TIME, noise N, values V then V xN then V to V xN
//	    Readings one by one, instead of or beside those of the model; "nothing xN" leaves N of them out.
//	at TIME: EVENT KEY=VALUE ...
//	    A line of the cellar log, written as for spile log, and what it does to the tank. Behind a comma stands what the
//	    log does not say: not logged; only logged (nobody did it); told DURATION (later); and by event: air SHARE (seal),
//	    creeping P an hour and stone (gas), to P (rouse), leach EXTRACT (dry-hop), over DURATION (crash, rest, transfer,
//	    package), lifts EXTRACT (add), half DURATION and spread DURATION (pitch).
//	at TIME: creep EXTRACT, ramp DURATION, decay DURATION
//	at TIME: cooling fails | glycol runs | door T | stuck PROBE | silent PROBE, each with: for DURATION
//	at TIME: leak SHARE (of the gas over the air, a day; beer gives most of it back, so 200 % is a hissing clamp)
//	at TIME: shift PROBE, by SG, relaxing DURATION
//	    What befalls the tank; nobody logs it.
//	expect ALARM [on PROBE] [as PRIORITY] [by TIME | after TIME | between TIME and TIME] [, returns by TIME]
//	    It is called within that time, and not before it. As high: only calls at high and above count.
//	expect no ALARM [on PROBE] [above PRIORITY] [by ... | after ... | between ...]
//	expect nothing [else] [above PRIORITY] [by ... | after ... | between ...]
//	    Else leaves out the alarms that another line of the file names.
//
// With several tanks the tank stands before the colon, or before the probe: "probe FV3/hyd-1: float", "at day 1 09:00
// FV3: vent", "expect FV3: no leak". An expectation that names no tank speaks of the only one the file has, or else of
// all. A file may be expectations alone, to be held against a capture.
//
// Alarms are those of the catalogue of package alert, but for what only the daemon itself can raise. An alarm of the
// cellar, such as cooling-plant, is no one tank's and answers to every expectation of its name.
//
// An alarm is called when a person would be: it turns unacknowledged. One that is suppressed by design is not.
//
// # Order, loss and chance
//
// The package is pure. The same file gives the same readings in the same order. [Scenario.Play] hands them over as the
// journal would: repeats are dropped, readings that others of their probe overtook are marked late.
package scenario
