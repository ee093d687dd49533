package screen

import (
	"html/template"
	"net/http"
	"time"

	"bayround/internal/round"
)

// bayPages are the templates of the bay display and its set-up page.
var bayPages = template.Must(template.New("bay").Funcs(template.FuncMap{"mark": markWithLimits}).ParseFS(files, "templates/bay*.html"))

// staleAfter is how old the newest word of the station may be. It sends a heartbeat
// every four seconds; twice missed is lost.
const staleAfter = 10 * time.Second

// baySource draws the bay display, with people's names or without.
func (s *Server) baySource(name string, names bool) source {
	return source{name: name, changed: s.config.Desk.BayChanged, draw: func(now time.Time) ([]region, beat, error) {
		return drawBay(s.config.Desk.Bay(), names, now)
	}}
}

// drawBay draws the regions of the bay display as they are at now.
func drawBay(b *round.Bay, names bool, now time.Time) ([]region, beat, error) {
	scene := stage(b, names, now)
	regions, err := scene.regions()
	signs := beatOf(now, b.Heard, scene.Live, scene.Since)
	signs.Clock = scene.Clock
	return regions, signs, err
}

// bayPage answers GET /bay. What it holds was true when it was asked for and may be
// old when it is seen: it counts as not live until the script has heard a frame.
func (s *Server) bayPage(w http.ResponseWriter, r *http.Request, bay *hub) {
	board, err := boardOf(s.config.Display.Board, r.URL.Query())
	if err != nil {
		http.Error(w, "The display cannot be as this address says: "+err.Error()+".", http.StatusBadRequest)
		return
	}
	regions, signs, err := bay.look()
	if err != nil {
		s.drawingFailed(w, "bay", err)
		return
	}
	s.write(w, bayPages, "bay.html", shell{
		Title: "Bay display", Build: s.assets.build, Boot: s.boot, Theme: board.Theme, Sizes: board.query(),
		Regions: regions, Served: signs.Clock, assets: s.assets,
	})
}
