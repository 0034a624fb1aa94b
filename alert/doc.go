// Package alert turns what the detectors find into alarms that a person answers.
//
// It owns the life of an alarm in the words of ANSI/ISA-18.2 (lifecycle.go), the catalogue of alarms with their delays
// and what silences them (catalogue.go), the Watch that holds every tank and steps its alarms (watch.go), the policy of
// who is told what and when (policy.go) with the annunciator that carries it out (annunciator.go), the words in which
// they are told (words.go), and the figures by which an alarm system is judged (figures.go).
//
// Everything here but the metrics collector is pure: time comes in with each call, nothing is read or written, nothing
// is random. The same calls in the same order give the same transitions and the same notices, whether live, replayed or
// restored from a snapshot. Transitions come out in the order in which they happened, their times never going back.
// Delays, shelvings, repeats, escalations, hours and reports run on whole minutes of arrival time.
//
// A call is told once to each webhook that its priority concerns, again while nobody answers, and to a second webhook
// after a time; whoever was called hears the end. What comes outside a webhook's hours waits and is told as it stands
// when they begin, or not at all where it is over by then: the morning report has it. Every message of an incident
// bears the incident's id; a message of none, told apart by its kind, bears its own.
//
// Where two spiles watch one cellar the one that is silent judges all the same, and takes over what the other hands to it:
// the ids of its alarms, what people answered, who was told (handover.go).
//
// It does not keep, send or show anything: the caller commits transitions and notices together, package webhook delivers
// them, package page shows them. It protects nobody: relief valves, vacuum breakers and CO2 meters do.
package alert
