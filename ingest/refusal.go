package ingest

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"spile/detect"
)

// Refusal is one thing that came and was not taken.
type Refusal struct {
	Time    time.Time // its arrival
	Source  string    // pattern of the source, or NoSource
	Topic   string
	Reason  string // one of the Reason constants
	Detail  string // names the place and the mend
	Payload string // its beginning, printable
}

// NoSource stands for the source of a message whose topic fits no pattern.
const NoSource = "none"

// Reasons for a refusal: fixed words, for they label a metric.
const (
	ReasonBadTopic     = detect.ReasonBadTopic     // no source fits, or the topic holds no valid name
	ReasonBadJSON      = "bad-json"                // not JSON, or not the JSON that belongs here
	ReasonBadSenML     = "bad-senml"               // against RFC 8428
	ReasonBadNumber    = detect.ReasonBadNumber    // a value that is no number
	ReasonUnknownUnit  = detect.ReasonUnknownUnit  // a unit that does not fit the quantity
	ReasonOutOfRange   = detect.ReasonOutOfRange   // physically impossible
	ReasonNoQuantity   = "no-quantity"             // nothing in it that spile knows
	ReasonBadTime      = detect.ReasonBadTime      // a time that cannot be read
	ReasonTimeAhead    = detect.ReasonTimeAhead    // more than detect.MaxAhead after its arrival
	ReasonTimeBehind   = detect.ReasonTimeBehind   // more than detect.MaxBehind before its arrival
	ReasonRetained     = "retained"                // retained without a time of its own: nobody knows how old it is
	ReasonUnknownEvent = detect.ReasonUnknownEvent // the cellar log has no such event
	ReasonBadField     = detect.ReasonBadField     // a field of a log event is missing, unknown or wrong
	ReasonTooLarge     = "too-large"               // more than MaxPayload
)

// Reasons lists every reason.
func Reasons() []string {
	return []string{
		ReasonBadTopic, ReasonBadJSON, ReasonBadSenML, ReasonBadNumber, ReasonUnknownUnit, ReasonOutOfRange,
		ReasonNoQuantity, ReasonBadTime, ReasonTimeAhead, ReasonTimeBehind, ReasonRetained, ReasonUnknownEvent,
		ReasonBadField, ReasonTooLarge,
	}
}

const (
	shownBytes  = 200 // of a payload or a topic in a refusal
	maxRefusals = 16  // told of one message; a flood of faults is one fault
)

// refuse notes a fault of the message.
func (h *hearing) refuse(reason, format string, args ...any) {
	if len(h.out.Refusals) >= maxRefusals {
		return
	}
	h.out.Refusals = append(h.out.Refusals, Refusal{
		Time: h.arrived, Source: h.out.Source, Topic: printable(h.message.Topic), Reason: reason,
		Detail: fmt.Sprintf(format, args...), Payload: printable(string(head(h.message.Payload))),
	})
}

// refuseError notes a fault that carries its own reason; place says where it lies.
func (h *hearing) refuseError(place string, err error) {
	reason := ReasonBadField
	if problem := (*detect.InputError)(nil); errors.As(err, &problem) {
		reason = problem.Reason
	}
	if place == "" {
		h.refuse(reason, "%v", err)
		return
	}
	h.refuse(reason, "%s: %v", place, err)
}

// head is the part of a payload worth showing.
func head(payload []byte) []byte { return payload[:min(len(payload), shownBytes)] }

// printable shortens a text and replaces what a terminal or a log must not see.
func printable(text string) string {
	if len(text) > shownBytes {
		text = text[:shownBytes]
	}
	clean := strings.Map(func(r rune) rune {
		if r == utf8.RuneError || !unicode.IsPrint(r) {
			return '·'
		}
		return r
	}, text)
	for len(clean) > shownBytes { // a replacement is longer than the byte it stands for
		_, size := utf8.DecodeLastRuneInString(clean)
		clean = clean[:len(clean)-size]
	}
	return clean
}
