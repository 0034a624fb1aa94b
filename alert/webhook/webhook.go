package webhook

import (
	"crypto/x509"
	"net/url"
	"time"

	"spile/alert"
)

// Webhook is one address and what it wants to be sent. URL, Method, ContentType, Headers and Body are text/templates,
// see Data; what stands before the end of the URL's host is none.
type Webhook struct {
	Name        string
	URL         Secret
	Secret      Secret            // signs; empty: unsigned
	Method      string            // empty: POST
	ContentType string            // empty: application/json, of a template's body text/plain
	Headers     map[string]string // by name
	Body        string            // empty: the JSON object, and of GET nothing
	Secrets     map[string]Secret // what {{secret "name"}} gives
	Timeout     time.Duration     // of one request; 0: 15 s
	CAs         *x509.CertPool    // whose certificates are trusted; nil: the system's
	Proxy       *url.URL          // nil: by the proxy variables of the environment
}

// Data is what the templates of a webhook see: every field of the message by its Go name, such as {{.Tank}}, and the
// words for people. Besides those of text/template there are the functions
//
//	json V     any value as JSON: {{json .Text}} is a quoted string
//	when T     a time by the cellar's clock
//	secret N   one of the webhook's Secrets
//	base64 S   as in {{base64 (print "user:" (secret "password"))}}, for HTTP's Basic authentication
type Data struct {
	alert.Message
	Headline string // one line
	Text     string // a few lines for a lock screen
	JSON     string // the object of the default body
}
