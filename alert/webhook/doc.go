// Package webhook delivers notices to the addresses that people gave, however long that takes.
//
// It owns the sending of what lies in an Outbox: one goroutine per webhook, one request at a time. Messages of one
// incident go in the order in which they were written, the next only when the one before is delivered; a message that
// fails holds up no other incident. A message is delivered when its webhook answers 2xx and is tried until then: after
// 1 s, 5 s, 15 s, 1 min, every 3 min through the first hour, then more slowly up to every 30 min, for ever. Only a
// webhook that answers 410 (Gone) is taken at its word. A receiver may hear a message twice, after a crash between its
// answer and the Outbox; the webhook-id is then the same.
//
// Requests are signed by the Standard Webhooks specification, version 1.0.0, where a secret is given. Redirects are not
// followed. Neither address nor secret appears in a log, an error or a metric: only the webhook's name does.
//
// It does not keep messages and does not decide who is told: the Outbox and package alert do.
package webhook
