package screen

import (
	"net/http"
	"time"
)

// tabletSource draws the tablet's page. Its regions depend on the view alone, so a
// view that was drawn is not drawn again.
func (s *Server) tabletSource() source {
	var last struct {
		drawn   bool
		version uint64
		regions []region
	}
	return source{name: "tablet", changed: s.config.Desk.Changed, draw: func(now time.Time) ([]region, beat, error) {
		view := s.config.Desk.View()
		if !last.drawn || last.version != view.Version {
			regions, err := tabletRegions(view, s.config.Display)
			if err != nil {
				return nil, beat{}, err
			}
			last.drawn, last.version, last.regions = true, view.Version, regions
		}
		// The tablet's page is live while its own program speaks; whether the station
		// is heard stands in the page.
		return last.regions, beatOf(now, now, true, ""), nil
	}}
}

func (s *Server) tabletPage(w http.ResponseWriter, _ *http.Request) {
	regions, _, err := s.tablet.look()
	if err != nil {
		s.drawingFailed(w, "tablet", err)
		return
	}
	s.write(w, tabletPages, "tablet.html", shell{
		Title: "Bayround", Build: s.assets.build, Boot: s.boot, Theme: s.config.Display.TabletTheme, Regions: regions, assets: s.assets,
	})
}
