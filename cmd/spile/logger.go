package main

import (
	"io"
	"log/slog"
)

// logger writes what operators need: text for people, JSON for machines.
func logger(to io.Writer, asJSON bool) *slog.Logger {
	options := &slog.HandlerOptions{Level: slog.LevelInfo}
	if asJSON {
		return slog.New(slog.NewJSONHandler(to, options))
	}
	return slog.New(slog.NewTextHandler(to, options))
}
