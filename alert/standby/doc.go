// Package standby lets two spiles watch one cellar, of which one speaks.
//
// It owns the agreement between them: who speaks, by a lease that is a number
// and not a time. Whoever begins to speak claims the next number, and the
// highest number counts. The first of the two is preferred: the second claims
// while the first is silent, and the first claims again when it is back.
//
// # Order and loss
//
// Before each message the speaker makes sure that the broker still has its
// lease for the newest, by a message to itself that comes back behind all that
// came before, and that the broker has what it hands over: so a spile that was
// frozen finds out before it speaks that another does, and the other knows the
// id of what was told before anybody hears it.
//
// Where the broker cannot be reached nobody can know who speaks, and then both
// do, under the ids that both know: a call twice is better than none.
//
// # What it does not do
//
// It does not know what is told, nor to whom; it passes on what it is given.
// It judges no reading. It does not lead to agreement where the broker itself
// lets one spile's messages through and the other's not.
package standby
