package journal

import (
	"strings"
	"time"

	"spile/detect"
)

// Filter narrows what is read. A zero field does not narrow.
type Filter struct {
	Tank     string
	Probe    string
	Quantity detect.Quantity
	From     time.Time // included, in the probes' own time
	To       time.Time // excluded
}

// where gathers the conditions of a query.
type where struct {
	conditions []string
	args       []any
}

func (w *where) add(condition string, arg any) {
	w.conditions = append(w.conditions, condition)
	w.args = append(w.args, arg)
}

func (w *where) equal(column, value string) {
	if value != "" {
		w.add(column+" = ?", value)
	}
}

func (w *where) between(column string, from, to time.Time) {
	if !from.IsZero() {
		w.add(column+" >= ?", ceilMillis(from))
	}
	if !to.IsZero() {
		w.add(column+" < ?", ceilMillis(to))
	}
}

// ceilMillis makes a bound between two milliseconds hold for whole ones: what
// lies at or after it is at or after the next.
func ceilMillis(t time.Time) int64 {
	ms := millis(t)
	if moment(ms).Before(t) {
		ms++
	}
	return ms
}

func (w *where) clause() string {
	if len(w.conditions) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(w.conditions, " AND ")
}
