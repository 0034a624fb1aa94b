// Package journal keeps what spile heard and decided in one SQLite file.
//
// It owns the readings, the cellar log, the acts of people on alarms, the marks
// of spile itself, the transitions of incidents, the outbox of webhooks, the
// positions of those who read it, and the judge's snapshot. The tables stand,
// column by column, in the files of schema; any sqlite3 opens the file.
//
// # Order
//
// Every entry gets a seq, growing by one over all kinds in the order committed.
// After returns entries in that order; two calls of After never skip an entry,
// since both read one state of the file and an entry never appears behind one
// that was already to be seen.
//
// # Loss
//
// An exported method that writes is one transaction. When it returns nil, what
// it wrote is on disk (WAL, synchronous=FULL) and outlives kill -9 and loss of
// power, as far as the disk keeps its word; when it returns an error, nothing of
// it is there, but for a failure in the midst of the commit itself, of which
// nobody can tell. Then the journal reads its own state anew before it writes
// again, so the same readings and log events offered once more are repeats if
// they had come through.
//
// A reading is known by (tank, probe, quantity, its own time), an event by the
// id its sender gave or else by (tank, name, time, fields). The same again is a
// Repeat, another value a Conflict: neither is stored, and the first one stays.
//
// # Concurrency
//
// One connection writes and a small pool reads; all methods may be called from
// any goroutine. Readers see the last commit and never hold up the writer.
// Callbacks run outside every transaction and may call the journal.
//
// The directory is locked against a second writer: Open then says ErrLocked.
// One that only reads (Options.ReadOnly) may stand beside it.
//
// # Damage
//
// A file that cannot be opened, or that Condemn said is damaged, is set aside as
// journal-damaged-N.db, and every row that SQLite can still read goes into a new
// one, which ends with a mark that says so. An alarm that was settled is not told
// anew; a reading whose page is gone is gone.
//
// # What it does not do
//
// It publishes nothing, retries nothing, reads no clock but to date that mark, and judges no value
// but those that no probe can mean: they are Refused, as a last line behind the
// decoder. It prunes only when told to.
package journal
