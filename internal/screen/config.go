package screen

import (
	"context"
	"log/slog"
	"time"

	"bayround/internal/round"
)

// Desk is what the pages show and what their acts are handed to. Views and bays
// are never changed once given; the channels are closed at the next change.
type Desk interface {
	View() *round.View
	Changed() <-chan struct{}
	Do(ctx context.Context, act round.Act) error
	Bay() *round.Bay
	BayChanged() <-chan struct{}
}

// Photos are the photos of answers, by the SHA-256 of their content in hex.
type Photos interface {
	Get(sha256 string) (content []byte, mediaType string, err error)
}

// Display is the glass that the pages are shown on.
type Display struct {
	TabletMMPerPX float64 // millimetres on the tablet's glass for each CSS pixel
	TabletTheme   string  // "day" or "night"; empty: as the browser prefers
	Board         Board   // the bay display, as it is unless its address says otherwise
}

// Config is what a Server is built from.
type Config struct {
	Desk        Desk
	Photos      Photos   // nil on a tablet that keeps none
	Archive     Archive  // what the pages of the past ask; nil: there are none
	TabletHosts []string // values of Host under which the tablet's listener answers, with or without a port
	BayHosts    []string // the same for the display's listener
	Log         *slog.Logger
	Display     Display
	Clock       func() time.Time
}
