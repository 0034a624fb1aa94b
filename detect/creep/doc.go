// Package creep says what follows when yeast has woken in finished beer: how much more extract will go, where it ends,
// and when gravity is still again.
//
// It owns one model of the course of a hop creep and the weighing of it against what was seen. It is pure: no state, no
// clock, and the same Course gives the same Outlook. It promises intervals that widen where little was seen, never a
// single figure that looks sure. It does not find creep, which is the detectors' work, and knows no tank, probe or unit
// but its own: degP of apparent extract, days and hours.
package creep
