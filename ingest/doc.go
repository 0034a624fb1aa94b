// Package ingest turns what probes publish into readings and lines of the
// cellar log, and sees to it that none is lost on the way to the journal.
//
// # The path of one message
//
//	publisher -> broker -> Intake.Offer -> queue -> Decoder.Decode -> journal.Commit -> done -> acknowledged
//
// A Message comes from the embedded broker (package ingest/broker), from a
// broker that stands already (package ingest/subscriber), or from a capture.
// The Intake owns the queue and the one goroutine that drains it: there the
// message is given its arrival, which never goes back, is decoded, and is
// committed together with whatever else waits. Only then is the publisher, or
// the broker, told that spile has it.
//
// The Decoder owns the meaning of topics and payloads. It finds the source
// whose pattern fits the topic, reads the payload, checks every value and time,
// and corrects the value by what is known of its probe. It is a pure function
// of message and arrival: it holds no state that changes, and any number of
// goroutines may use it. Packages below own what lies at either end: ingest/journal
// the disk, ingest/influx the copy in a time series store.
//
// # Order and loss
//
// Delivery is at least once. A message that was not acknowledged comes again;
// the identity of a reading (tank, probe, quantity, its own time) makes the
// second one a repeat, which the journal counts and does not keep. A reading
// that came without a time has its arrival for one, so the same message sent
// again is another reading: probes that can tell the time should. Messages are
// journalled in the order in which the Intake took them up; a probe's own times
// may go back and forth within it.
//
// # What is dropped, and where it is counted
//
// Nothing that came is dropped in silence, but for two that say nothing: an
// empty retained payload, which only clears a retained message, and keys and
// SenML names that are no quantity spile knows, such as a battery's charge,
// beside one that is. Every other value that cannot be taken is a Refusal with
// a fixed word for its Reason and, in Detail, the place and the mend; one bad
// value does not cost its message the good ones. The Intake counts refusals
// (spile_readings_total with outcome refused, spile_refusals_total by reason)
// and keeps the newest. A refused message is acknowledged all the same, for it
// would be no better the second time.
//
// The package does not judge a reading: a tank full of hot caustic reads 80
// degC and that is a reading. It refuses only what cannot be physically true,
// or cannot be placed in time.
package ingest
