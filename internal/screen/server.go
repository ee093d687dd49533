package screen

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"github.com/gorilla/websocket"
)

// Server serves both pages. Close ends its sockets.
type Server struct {
	config   Config
	log      *slog.Logger
	now      func() time.Time
	limits   limits
	assets   *assets
	boot     string // new at each start of the process
	upgrader websocket.Upgrader
	acts     *acts
	photos   chan struct{} // holds one for each photo being taken in

	tablet *hub // the tablet's page
	inside *hub // the bay page on the tablet's own listener, with names
	public *hub // the bay page for all who pass

	life    context.Context // ends with Close; sockets have no caller whose context they could take
	cancel  context.CancelFunc
	mu      sync.Mutex // orders Close and whatever begins after it
	running sync.WaitGroup
}

// New returns a server that shows what the desk of c says, and draws for its
// sockets until Close.
func New(c Config) (*Server, error) { return newServer(c, defaultLimits()) }

func newServer(c Config, l limits) (*Server, error) {
	switch {
	case c.Desk == nil || c.Log == nil || c.Clock == nil:
		return nil, errors.New("screen: desk, log and clock must be given")
	case !(c.Display.TabletMMPerPX >= 0.02 && c.Display.TabletMMPerPX <= 2):
		return nil, fmt.Errorf("screen: the tablet has %v mm a pixel; it must lie between 0.02 and 2", c.Display.TabletMMPerPX)
	case !themed(c.Display.TabletTheme):
		return nil, fmt.Errorf("screen: the tablet's theme is day or night, not %q", c.Display.TabletTheme)
	}
	if err := c.Display.Board.check(); err != nil {
		return nil, fmt.Errorf("screen: %w", err)
	}
	assets, err := loadAssets()
	if err != nil {
		return nil, err
	}
	s := &Server{
		config: c, log: c.Log, now: c.Clock, limits: l, assets: assets,
		boot: rand.Text()[:12], photos: make(chan struct{}, photosAtOnce),
		upgrader: websocket.Upgrader{
			HandshakeTimeout: l.handshake, CheckOrigin: sameOrigin,
			ReadBufferSize: 1 << 10, WriteBufferSize: 4 << 10, WriteBufferPool: &sync.Pool{},
			EnableCompression: false, // a read limit counts compressed bytes only
		},
	}
	s.life, s.cancel = context.WithCancel(context.Background())
	s.acts = newActs(c.Desk, s.boot)
	s.tablet = newHub(s, s.tabletSource())
	s.inside = newHub(s, s.baySource("bay, with names", true))
	s.public = newHub(s, s.baySource("bay", false))
	for _, h := range []*hub{s.tablet, s.inside, s.public} {
		s.running.Go(func() { h.run(s.life, l.beat) })
	}
	return s, nil
}

// Close ends all sockets, says so to their pages and waits until all has ended.
// Requests that come later are answered, sockets are refused.
func (s *Server) Close() {
	s.mu.Lock()
	s.cancel()
	s.mu.Unlock()
	s.running.Wait()
}

// enter counts one more that Close waits for, unless Close has begun.
func (s *Server) enter() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.life.Err() != nil {
		return false
	}
	s.running.Add(1)
	return true
}

// Handler is for the tablet's own listener: the tablet's page, its acts, the pages of
// the past, and the bay page with names.
func (s *Server) Handler() http.Handler {
	mux := s.both(s.inside)
	mux.HandleFunc("GET /{$}", s.tabletPage)
	mux.HandleFunc("POST /act", s.act)
	mux.HandleFunc("POST /photo", s.photo)
	mux.HandleFunc("GET /photo/{sha256}", s.showPhoto)
	s.pastRoutes(mux)
	mux.HandleFunc("GET /ws/tablet", func(w http.ResponseWriter, r *http.Request) {
		s.look(w, r, s.tablet, s.limits.tablets, s.hearTablet)
	})
	return guard(s.config.TabletHosts, mux)
}

// BayHandler is for the listener that other machines reach: the bay page without
// people's names, and no act at all.
func (s *Server) BayHandler() http.Handler {
	mux := s.both(s.public)
	mux.Handle("GET /{$}", http.RedirectHandler("/bay", http.StatusSeeOther))
	return guard(s.config.BayHosts, mux)
}

// both is what both listeners serve.
func (s *Server) both(bay *hub) *http.ServeMux {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /bay", func(w http.ResponseWriter, r *http.Request) { s.bayPage(w, r, bay) })
	mux.HandleFunc("GET /bay/setup", s.setupPage)
	mux.HandleFunc("GET /display.css", s.sizes)
	mux.HandleFunc("GET /static/{digest}/{name}", s.assets.serve)
	mux.HandleFunc("GET /healthz", s.health)
	mux.HandleFunc("GET /ws/bay", func(w http.ResponseWriter, r *http.Request) {
		s.look(w, r, bay, s.limits.bays, nothing)
	})
	return mux
}

// health says that the program answers and how many pages look on.
func (s *Server) health(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	_ = json.NewEncoder(w).Encode(map[string]any{ // a reader that has gone needs no answer
		"build": s.assets.build, "tablet": s.tablet.count(), "bay": s.inside.count() + s.public.count(),
	})
}

// write sends a page only when it was made whole.
func (s *Server) write(w http.ResponseWriter, pages *template.Template, name string, data any) {
	var page bytes.Buffer
	if err := pages.ExecuteTemplate(&page, name, data); err != nil {
		s.drawingFailed(w, name, err)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = page.WriteTo(w) // a reader that has gone needs no answer
}

func (s *Server) drawingFailed(w http.ResponseWriter, name string, err error) {
	s.log.Error("drawing a page", "page", name, "error", err)
	http.Error(w, "The page could not be drawn; the kiosk's log says why.", http.StatusInternalServerError)
}
