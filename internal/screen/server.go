package screen

import (
	"bytes"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"time"
)

// Server serves both pages. Close ends its sockets.
type Server struct {
	desk    Desk
	log     *slog.Logger
	now     func() time.Time
	display Display
	assets  *assets
}

// New returns a server that shows what the desk of c says.
func New(c Config) (*Server, error) {
	assets, err := loadAssets()
	if err != nil {
		return nil, err
	}
	return &Server{desk: c.Desk, log: c.Log, now: c.Clock, display: c.Display, assets: assets}, nil
}

// Handler is for the tablet's own listener: the tablet's page, its acts, and the
// bay page with names.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.tabletPage)
	mux.HandleFunc("GET /display.css", s.sizes)
	mux.HandleFunc("GET /static/{digest}/{name}", s.assets.serve)
	return mux
}

// BayHandler is for the listener that other machines reach: the bay page without
// people's names, and no act at all.
func (s *Server) BayHandler() http.Handler {
	return http.NewServeMux()
}

// Close ends all sockets and waits until they have ended.
func (s *Server) Close() {}

func (s *Server) tabletPage(w http.ResponseWriter, _ *http.Request) {
	regions, err := tabletRegions(s.desk.View(), s.display)
	if err != nil {
		s.log.Error("drawing the tablet", "error", err)
		http.Error(w, "The page could not be drawn; the log says why.", http.StatusInternalServerError)
		return
	}
	s.write(w, tabletPages, "tablet.html", shell{Title: "Bayround", Regions: regions, assets: s.assets})
}

// sizes is the style sheet that says how long a millimetre on the glass is. The
// policy of the pages allows no style in the HTML itself.
func (s *Server) sizes(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	w.Header().Set("Cache-Control", "no-cache")
	fmt.Fprintf(w, ":root{--mm:%.4fpx}\n", 1/s.display.TabletMMPerPX)
}

// write sends a page only when it was made whole.
func (s *Server) write(w http.ResponseWriter, pages *template.Template, name string, data any) {
	var page bytes.Buffer
	if err := pages.ExecuteTemplate(&page, name, data); err != nil {
		s.log.Error("drawing a page", "page", name, "error", err)
		http.Error(w, "The page could not be drawn; the log says why.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = page.WriteTo(w) // a reader that has gone needs no answer
}
