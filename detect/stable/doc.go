// Package stable says whether a gravity has been shown to stand still.
//
// That is a statement of equivalence, not of a test that found nothing: the
// upper bound, with 95 % confidence, of what gravity fell over the last two
// days must lie under a limit. A curve too short, too old or too rough to
// bound is unknown, never stable. The noise is learned from the curve itself,
// how it runs on from hour to hour included.
//
// The package is pure arithmetic on a curve in order of time: it keeps
// nothing, and what is later than the moment it is asked about is left out.
package stable
