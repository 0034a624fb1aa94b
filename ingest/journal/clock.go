package journal

import (
	"database/sql"
	"time"
)

// The journal's times are whole milliseconds since 1970, UTC.

func millis(t time.Time) int64 { return t.UnixMilli() }

func moment(ms int64) time.Time { return time.UnixMilli(ms).UTC() }

// maybeMillis writes the zero time as NULL.
func maybeMillis(t time.Time) sql.NullInt64 {
	return sql.NullInt64{Int64: t.UnixMilli(), Valid: !t.IsZero()}
}

func maybeMoment(ms sql.NullInt64) time.Time {
	if !ms.Valid {
		return time.Time{}
	}
	return moment(ms.Int64)
}
