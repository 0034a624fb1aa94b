package detect

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"spile/detect/beer"
)

// Why an input was refused: short fixed words that count and label.
const (
	ReasonBadField     = "bad-field"
	ReasonBadNumber    = "bad-number"
	ReasonBadTime      = "bad-time"
	ReasonBadTopic     = "bad-topic"
	ReasonOutOfRange   = "out-of-range"
	ReasonTimeAhead    = "time-ahead"
	ReasonTimeBehind   = "time-behind"
	ReasonUnknownEvent = "unknown-event"
	ReasonUnknownUnit  = "unknown-unit"
)

// InputError says why something that was sent is refused, and how to mend it.
type InputError struct {
	Reason string // one of the Reason constants
	Text   string // names the place and the mend
}

// Error is the text for people.
func (e *InputError) Error() string { return e.Text }

func refused(reason, format string, args ...any) *InputError {
	return &InputError{Reason: reason, Text: fmt.Sprintf(format, args...)}
}

// How far a time may lie from its arrival.
const (
	MaxAhead  = 5 * time.Minute
	MaxBehind = 731 * 24 * time.Hour // two years, a leap day included
)

// CheckTime refuses a time that lies too far from the arrival to be believed.
func CheckTime(at, arrived time.Time) error {
	switch {
	case at.Sub(arrived) > MaxAhead:
		return refused(ReasonTimeAhead, "time %s is %s ahead of its arrival: set the sender's clock, or send no time",
			at.UTC().Format(time.RFC3339), Spell(at.Sub(arrived)))
	case arrived.Sub(at) > MaxBehind:
		return refused(ReasonTimeBehind, "time %s is more than two years behind its arrival: set the sender's clock, or send no time",
			at.UTC().Format(time.RFC3339))
	}
	return nil
}

// ParseTime reads a moment as RFC 3339 or as seconds since 1970, in UTC and
// whole milliseconds (what is finer is cut off).
func ParseTime(v any) (time.Time, error) {
	switch v := v.(type) {
	case float64:
		return unixTime(v)
	case json.Number:
		return parseTimeText(v.String())
	case string:
		return parseTimeText(strings.TrimSpace(v))
	}
	return time.Time{}, refused(ReasonBadTime, "time is %s: %s", described(v), timeMend)
}

const timeMend = "write RFC 3339, such as 2026-03-02T01:15:00Z, or seconds since 1970"

func parseTimeText(text string) (time.Time, error) {
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return at.UTC().Truncate(time.Millisecond), nil
	}
	if at, ok := leapSecond(text); ok {
		return at, nil
	}
	if seconds, err := strconv.ParseFloat(text, 64); err == nil {
		return unixTime(seconds)
	}
	if _, err := time.Parse("2006-01-02T15:04:05", text); err == nil {
		return time.Time{}, refused(ReasonBadTime, "time %q has no zone: add Z or the offset, as %sZ", text, text)
	}
	return time.Time{}, refused(ReasonBadTime, "time %q: %s", shortened(text), timeMend)
}

// leapSecond reads a moment within a leap second, which comes after the last
// second of a month in UTC (RFC 3339, section 5.7). It counts as the second
// behind it, as in seconds since 1970 (POSIX, "Seconds Since the Epoch").
func leapSecond(text string) (time.Time, bool) {
	const before = len("2006-01-02T15:04")
	if len(text) < before+3 || text[before:before+3] != ":60" {
		return time.Time{}, false
	}
	at, err := time.Parse(time.RFC3339, text[:before]+":59"+text[before+3:])
	at = at.UTC().Add(time.Second).Truncate(time.Millisecond)
	if err != nil || at.Day() != 1 || at.Hour() != 0 || at.Minute() != 0 {
		return time.Time{}, false
	}
	return at, true
}

// lastSecond is the end of the year 9999, the last that RFC 3339 can write.
const lastSecond = 253402300799

// unixTime is the moment so many seconds after 1970, in whole milliseconds. A
// float64 holds such a figure to the microsecond, so it is read to that before
// what is finer than a millisecond is cut off: .123 stays .123.
func unixTime(seconds float64) (time.Time, error) {
	if math.IsNaN(seconds) || seconds < 0 || seconds > lastSecond {
		mend := timeMend
		if seconds/1000 > 0 && seconds/1000 <= lastSecond {
			mend = "are these milliseconds? write seconds since 1970"
		}
		return time.Time{}, refused(ReasonBadTime, "time %g: %s", seconds, mend)
	}
	return time.UnixMicro(int64(math.Round(seconds * 1e6))).UTC().Truncate(time.Millisecond), nil
}

// ParseFigure reads a figure as it stands in JSON: a number in the inside unit,
// a text such as "57.9 degF", or an object {"value":57.9,"unit":"degF"}. It is
// finite and in the inside unit of kind.
func ParseFigure(v any, kind beer.Kind) (float64, error) {
	f, err := readFigure(v)
	if err != nil {
		return 0, err
	}
	return f.inside(kind)
}

// figure is a figure as it was written.
type figure struct {
	number float64
	unit   string // empty: not given
	text   string // as it was written
}

// readFigure takes a figure apart without asking what it measures.
func readFigure(v any) (figure, error) {
	switch v := v.(type) {
	case float64:
		return figure{number: v, text: strconv.FormatFloat(v, 'g', -1, 64)}, nil
	case json.Number:
		return textFigure(v.String()), nil
	case string:
		return textFigure(v), nil
	case map[string]any:
		return objectFigure(v)
	}
	return figure{}, refused(ReasonBadNumber, `%s: write a number, or {"value":57.9,"unit":"degF"}`, described(v))
}

// textFigure splits "57.9 degF" where the number ends. What begins with no
// number is told when it is asked for its value.
func textFigure(text string) figure {
	plain := strings.ReplaceAll(strings.TrimSpace(text), "\u2212", "-")
	number, unit := plain, ""
	if end := strings.IndexFunc(plain, func(r rune) bool { return !strings.ContainsRune("+-.0123456789", r) }); end >= 0 {
		number, unit = plain[:end], strings.TrimSpace(plain[end:])
	}
	if whole, err := strconv.ParseFloat(plain, 64); err == nil && !math.IsInf(whole, 0) && !math.IsNaN(whole) {
		return figure{number: whole, text: plain}
	}
	if value, err := strconv.ParseFloat(number, 64); err == nil {
		return figure{number: value, unit: unit, text: plain}
	}
	return figure{number: math.NaN(), unit: plain, text: plain}
}

// objectFigure reads {"value":57.9,"unit":"degF"}.
func objectFigure(object map[string]any) (figure, error) {
	if _, nested := object["value"].(map[string]any); nested {
		return figure{}, refused(ReasonBadNumber, `"value" is an object: write {"value":57.9,"unit":"degF"}`)
	}
	f, err := readFigure(object["value"])
	if err != nil {
		return figure{}, err
	}
	unit, isText := object["unit"].(string)
	if _, given := object["unit"]; given && !isText {
		return figure{}, refused(ReasonUnknownUnit, `"unit" is %s: write a text such as "degF"`, described(object["unit"]))
	}
	if unit != "" {
		f.text, f.unit = f.text+" "+unit, strings.TrimSpace(f.unit+" "+unit)
	}
	return f, nil
}

// inside turns the figure into the inside unit of kind.
func (f figure) inside(kind beer.Kind) (float64, error) {
	if f.unit == "" && !math.IsNaN(f.number) && !math.IsInf(f.number, 0) {
		return f.number, nil
	}
	value, err := beer.FromUnit(f.number, f.unit, kind)
	if err != nil {
		value, err = beer.Parse(f.text, kind) // it knows what takes several parts, such as 1h30m, and words the error
	}
	switch {
	case err == nil:
		return value, nil
	case math.IsNaN(f.number) || math.IsInf(f.number, 0):
		return 0, refused(ReasonBadNumber, "%s", shortened(err.Error()))
	}
	if _, wrong := beer.FromUnit(1, f.unit, kind); wrong != nil {
		return 0, refused(ReasonUnknownUnit, "%s", shortened(err.Error()))
	}
	return 0, refused(ReasonOutOfRange, "%s", shortened(err.Error()))
}

// LikelyUnit names the unit other than the inside one in which a figure would
// lie between low and high (inside unit), and is empty where none fits: 58, no
// temperature of a crash in degC, is one in degF.
func LikelyUnit(number float64, kind beer.Kind, low, high float64) string {
	for _, unit := range beer.Units(kind) {
		value, err := beer.FromUnit(number, unit, kind)
		if unit != beer.InsideUnit(kind) && err == nil && value >= low && value <= high {
			return unit
		}
	}
	return ""
}

// described says what a value of JSON is, for an error.
func described(v any) string {
	switch v.(type) {
	case nil:
		return "nothing"
	case bool:
		return "true or false"
	case string:
		return "a text"
	case []any:
		return "a list"
	case map[string]any:
		return "an object"
	case float64, json.Number:
		return "a number"
	}
	return fmt.Sprintf("a %T", v)
}

// shortened keeps an error readable whatever was sent.
func shortened(text string) string {
	const most = 300
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most], "") + "…"
}
