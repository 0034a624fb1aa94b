// Package daemon wires hearing, understanding and telling into one running
// spile: it owns the order in which the parts start and stop, and the judge
// that reads the journal, asks the watch, and commits what came of it.
//
// # Order and loss
//
// Two commits, never more. The intake brings readings onto disk and only then
// are they acknowledged. The judge reads them back in the order they were
// written, and commits its position, the alarms' steps and the outbox rows in
// one transaction: a crash repeats the judging, never the telling. Whatever
// leaves the machine leaves from the outbox or from the journal.
//
// Parts start in the order journal, intake, outbox, judge, InfluxDB, pages,
// broker, heartbeat: nothing is heard before it can be kept and judged. They
// stop in the reverse order, under one deadline.
//
// What befalls spile itself (a start, a lost link, a webhook that fails, another
// spile that speaks) is journalled as a mark and judged like all else. What that
// one hands over goes by the same road; its messages go into the outbox as they
// are, and none goes out but while this one speaks (package standby).
//
// # What it does not do
//
// It holds no rule about beer or alarms (packages detect and alert) and parses
// no configuration (package config). Two daemons can run in one process.
package daemon
