// Package page serves what people look at, and the HTTP API that programs use.
//
// It owns no state of the cellar: it asks a view function for what stands now and Records for what is kept, and hands
// every write to Records, which answers once the write is on disk. What is answered with 2xx is therefore kept; what
// is answered otherwise may be sent again, and a log event sent twice is one event.
//
// Order: readings come oldest first and whole. A stream that cannot be finished is cut off, so that a client sees a
// broken transfer and never takes a part for the whole. Alarms come with the most pressing first, refusals with the
// newest first.
//
// Who may write: reads are open to whoever reaches the port. Where a token is configured, a write needs it, as a bearer
// token, through the cookie that signing in sets or, to acknowledge one alarm, by the pass in a message's link. Where neither a token nor a public address is set, a write must come
// from this machine and name it: the peer and the Host header are both loopback and no proxy stands between. Writes that
// a browser makes for another site are refused in either case. A GET never changes anything, because messengers fetch
// links before people do.
//
// A page is kept fresh by a small script of its own, which hears by server-sent events that something changed and reads
// the page again; without the script the page renews itself every few seconds, and everything on it works.
//
// It judges nothing, delivers nothing and controls nothing.
package page
