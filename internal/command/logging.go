package command

import (
	"io"
	"log/slog"
	"runtime/debug"
)

// Logger writes to w in the format and from the level that flags name.
func Logger(w io.Writer, format, level string) (*slog.Logger, error) {
	var from slog.Level
	if err := from.UnmarshalText([]byte(level)); err != nil {
		return nil, Misuse("--log-level %q: say debug, info, warn or error", level)
	}
	options := &slog.HandlerOptions{Level: from}
	switch format {
	case "text":
		return slog.New(slog.NewTextHandler(w, options)), nil
	case "json":
		return slog.New(slog.NewJSONHandler(w, options)), nil
	}
	return nil, Misuse("--log-format %q: say text or json", format)
}

// Version is the lines that say which version this is, from which change it was
// built, and with which Go.
func Version() []string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return []string{"bayround, built without a record of how"}
	}
	lines := []string{"bayround " + info.Main.Version}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" || s.Key == "vcs.time" || s.Key == "vcs.modified" {
			lines = append(lines, s.Key+" "+s.Value)
		}
	}
	return append(lines, info.GoVersion)
}
