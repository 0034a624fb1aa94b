package broker

import (
	"context"
	"log/slog"
)

// discreet is the library's way into our log. The library logs whole packets,
// payloads and passwords in them, says "info" of each step of its own start
// and ends its lines on connections without a word.
type discreet struct{ slog.Handler }

// Enabled keeps the library's own progress out of the log unless debug is on.
func (d discreet) Enabled(ctx context.Context, level slog.Level) bool {
	return d.Handler.Enabled(ctx, quieter(level))
}

// Handle passes a line on without packets.
func (d discreet) Handle(ctx context.Context, r slog.Record) error {
	message := r.Message
	if message == "" {
		message = "a client's connection ended"
	}
	own := slog.NewRecord(r.Time, quieter(r.Level), "mqtt: "+message, r.PC)
	r.Attrs(func(a slog.Attr) bool {
		if a.Key != "pk" && a.Key != "packet" {
			own.AddAttrs(a)
		}
		return true
	})
	return d.Handler.Handle(ctx, own)
}

// WithAttrs keeps the handler discreet.
func (d discreet) WithAttrs(attrs []slog.Attr) slog.Handler {
	return discreet{d.Handler.WithAttrs(attrs)}
}

// WithGroup keeps the handler discreet.
func (d discreet) WithGroup(name string) slog.Handler { return discreet{d.Handler.WithGroup(name)} }

// quieter takes the library's info for debug and its warnings, of which each
// client that vanishes makes one, for info.
func quieter(level slog.Level) slog.Level {
	switch {
	case level >= slog.LevelError:
		return level
	case level >= slog.LevelWarn:
		return slog.LevelInfo
	}
	return slog.LevelDebug
}
