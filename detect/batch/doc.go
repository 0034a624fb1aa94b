// Package batch is the memory of one brew, from pitch to package: the decisions
// that a brewer makes by day.
//
// A [Record] takes the readings of a tank and the lines of its cellar log, in
// any order, and answers for any moment what had become of the beer by then
// ([Record.At]): the stage it is in and why, the three hold points (may it be
// cooled, hopped, packaged) with the evidence of each condition, the figures of
// the brew sheet, and what an act would lead to ([Before]).
//
// A condition is met, not met or unknown. Unknown is never met: where
// the readings are thin it says what would settle it. Nothing here is an alarm,
// and nothing here is permission: it is what was read and what follows, to be
// checked at the tank.
//
// The package is pure: no clock, no I/O. A record keeps hourly means, so that
// a month of a tank is a few hundred points; readings of one series must come
// in order of their own time, and one that does not is left out. What is later
// than the moment asked about plays no part, so a record answers for the past
// as it was to be known then, but for lines that were corrected since.
package batch
