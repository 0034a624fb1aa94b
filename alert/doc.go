// Package alert turns what the detectors find into alarms that a person answers.
//
// It owns the life of an alarm in the words of ANSI/ISA-18.2 (lifecycle.go), the catalogue of alarms with their delays
// and what silences them (catalogue.go), the Watch that holds every tank and steps its alarms (watch.go), the policy of
// who is told what (policy.go), and the words in which they are told (words.go).
//
// Everything here but the metrics collector is pure: time comes in with each call, nothing is read or written, nothing
// is random. The same calls in the same order give the same transitions, whether live, replayed or restored from a
// snapshot. Transitions come out in the order in which they happened, their times never going back.
//
// It does not keep, send or show anything: the caller commits transitions and notices, package webhook delivers them,
// package page shows them. It protects nobody: relief valves, vacuum breakers and CO2 meters do.
package alert
