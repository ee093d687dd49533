package main

import (
	"io"
	"log/slog"
)

// newLogger writes to w in the format and from the level that flags name.
func newLogger(w io.Writer, format, level string) (*slog.Logger, error) {
	var from slog.Level
	if err := from.UnmarshalText([]byte(level)); err != nil {
		return nil, misuse("--log-level %q: say debug, info, warn or error", level)
	}
	options := &slog.HandlerOptions{Level: from}
	switch format {
	case "text":
		return slog.New(slog.NewTextHandler(w, options)), nil
	case "json":
		return slog.New(slog.NewJSONHandler(w, options)), nil
	}
	return nil, misuse("--log-format %q: say text or json", format)
}
