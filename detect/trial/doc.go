// Package trial measures how well a [detect.Tank] detects, on simulated
// cellars whose truth is known: false calls, misses, delays, and whether the
// evidence says what is so.
//
// # A run's walk
//
// A run is some days of one tank. Its class (class.go) says what it has to
// show; vessel.go, probes.go, hops.go and story.go draw its tank, its probes
// and its days, fronts.go the lows that pass over it; settings.go draws what the detector is told of it, which is
// never quite true. The messages of cellarsim go to the tank as a journal would
// give them (journal.go). What the tank finds becomes a call once its alarm
// would be told (telling.go), and verdict.go holds each call against the truth
// (truth.go). Two simple rules (rule.go) and an oracle that knows everything
// but whether yeast works (oracle.go) look at the same readings. measure.go
// holds the bars.
//
// # What it promises
//
// A run's randomness comes from the seed, its class and its index alone, so
// that a report is the same for any number of workers. Nothing is lost or
// sampled: every finding of every run is judged. The package is pure: no
// clock, no files, no network.
//
// It proves nothing about a real cellar. The ranges of every draw are common
// practice and judgement, for nobody publishes how probes err in real tanks;
// and what the model leaves out (layers in the tank, swelling, foam) no trial
// on it can miss. Gauges send every 10 s at the quickest: quicker ones cost time
// and tell a detector that works in minutes nothing more.
package trial
