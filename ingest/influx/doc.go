// Package influx copies the journal's readings to InfluxDB.
//
// # What is written
//
// One line per reading, in the line protocol with whole milliseconds:
//
//	cellar,probe=hyd-1,site=north-quay,tank=FV3 gravity=1.0118 1772414100000
//
// The measurement is cellar; the tags are tank, probe and, where the
// configuration names one, site; the field is gravity (SG 20/20), temperature
// (degC) or pressure (kPa gauge); the time is the probe's own. The value is the
// corrected one. Log events are not copied.
//
// # Order and loss
//
// The Forwarder reads the journal in the order it was written, from a position
// that the journal keeps, and moves the position only after the store has
// answered that it has the lines. A crash, an outage or an answer that got lost
// repeats lines; a line repeated is the same point to InfluxDB, so nothing is
// doubled. Hearing never waits for it: an outage only makes the lag grow.
//
// A reading that the store refuses for itself is set aside in the journal with
// the store's words, counted, and gone past. It is found by halving the batch,
// as the store tells only that something in it was wrong, and offered once more
// between two lines that the store takes. Where it takes nothing at all of a
// batch it is the store that is wrong, or not one: nothing is set aside, and the
// same lines are offered again.
//
// # What it does not do
//
// It makes no bucket, reads nothing back, and knows nothing of the retention of
// the bucket: readings that are older than it are dropped by InfluxDB, which is
// said once in the log.
package influx
