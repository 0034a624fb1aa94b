// Package webhook delivers notices to the addresses that people gave, however long that takes.
//
// It owns the sending of what lies in an Outbox. Each webhook has one queue for each incident: its messages go in the
// order in which they were written, the next only when the one before is delivered, and a queue that is stuck holds up
// no other. A message is delivered when its webhook answers 2xx and is tried until then: after 1 s, 5 s, 15 s, 1 min,
// every 3 min through the first hour, then more slowly up to every 30 min, for ever; what a Retry-After asks for is
// kept, up to an hour. A receiver may hear a message twice, after a crash between its answer and the Outbox; the
// webhook-id is then the same.
//
// A webhook that answers 410 (Gone) wants no more messages: all its queues rest until the next start, and lose nothing.
// One that has taken nothing of a queue for 15 minutes counts as failing. Both are told to whoever asked (Options.Turned),
// so that somebody can be called by another road.
//
// Address, method, content type, headers and body are text/templates, so that whatever takes an HTTP call can be spoken
// to. Requests are signed by the Standard Webhooks specification, version 1.0.0, where a secret is given. Redirects are
// not followed. Neither address nor secret appears in a log, an error or a metric: only the webhook's name does.
//
// A Gate may be closed, where another spile speaks: then messages wait, and nothing counts as failing. It is asked again
// for each message that is about to go; what is about this machine itself goes through.
//
// It does not keep messages and does not decide who is told: the Outbox and package alert do.
package webhook
