package screen

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
)

// setup is what the set-up page shows: which layer reads from where, and what
// contrast is left when light falls on the screen.
type setup struct {
	Board    Board
	Theme    string
	Vehicles int
	Nits     float64 // white of the screen in cd/m²
	Native   float64 // its contrast in the dark, to one
	Layers   []layerLine
	Light    []lightLine
	BarPX    float64 // 100 mm on the glass, in pixels of the board
	Open     string  // address of the display with these settings
	Problem  string
}

// layerLine is one layer of the board.
type layerLine struct {
	What      string
	CapMM     float64
	TypePX    float64
	For       float64 // metres
	Minutes   float64
	Best      float64 // metres from which it is seen under 20′
	Farthest  float64 // under 16′
	FarEnough bool
}

// lightLine is the contrast under one light, by how much of it the screen throws back.
type lightLine struct {
	Lux    float64
	Where  string
	Clean  float64 // 2 % thrown back
	Dusty  float64 // 5 %
	Advice string
}

// lights are what a bay meets, with what such figures stand for (common practice).
var lights = []struct {
	lux   float64
	where string
}{{10, "night, work lamps off"}, {200, "bay lamps"}, {1000, "door open, cloud"}, {10000, "door open, daylight falls in"}, {30000, "low sun on the screen"}}

const (
	cleanShare, dustyShare = 0.02, 0.05
	leastContrast          = 6.0  // reflections included
	goodContrast           = 10.0 // likewise
)

// setupPage answers GET /bay/setup.
func (s *Server) setupPage(w http.ResponseWriter, r *http.Request) {
	page, err := setupOf(s.config.Display.Board, r.URL.Query())
	if err != nil {
		page, _ = setupOf(s.config.Display.Board, nil) // as configured, which was checked at the start
		page.Problem = err.Error()
		w.WriteHeader(http.StatusBadRequest)
	}
	s.write(w, bayPages, "bay-setup.html", struct {
		shell
		setup
	}{shell{Title: "Bay display: set-up", Build: s.assets.build, Theme: page.Board.Theme, Sizes: page.Board.query(), assets: s.assets}, page})
}

// setupOf works the page out for the measures in an address.
func setupOf(base Board, query url.Values) (setup, error) {
	board, err := boardOf(base, query)
	if err != nil {
		return setup{}, err
	}
	p := setup{Board: board, Theme: board.Theme, Vehicles: 4, Nits: 500, Native: 1000, BarPX: 100 * board.pxPerMM(), Open: "/bay?" + board.query()}
	for _, n := range []struct {
		key        string
		into       *float64
		from, upTo float64
	}{{"nits", &p.Nits, 50, 10000}, {"native", &p.Native, 10, 1e7}} {
		if text := query.Get(n.key); text != "" {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil || !(v >= n.from && v <= n.upTo) {
				return setup{}, fmt.Errorf("%s must be a number from %g to %g", n.key, n.from, n.upTo)
			}
			*n.into = v
		}
	}
	if text := query.Get("vehicles"); text != "" {
		v, err := strconv.Atoi(text)
		if err != nil || v < 1 || v > mostRows {
			return setup{}, fmt.Errorf("vehicles must be a number from 1 to %d", mostRows)
		}
		p.Vehicles = v
	}
	p.Layers = layersOf(board, p.Vehicles)
	p.Light = lightOf(p.Nits, p.Native)
	return p, nil
}

func layersOf(b Board, vehicles int) (lines []layerLine) {
	l := b.layout(vehicles)
	for _, layer := range []struct {
		what      string
		typePX    float64
		distanceM float64
	}{
		{"call sign and verdict", l.Far, b.FarM},
		{"one row a vehicle", l.Mid, b.FarM / midShare},
		{"foot: defects, what happened", l.Near, b.FarM / nearShare},
	} {
		mm := layer.typePX * capOfType / b.pxPerMM()
		lines = append(lines, layerLine{
			What: layer.what, CapMM: mm, TypePX: layer.typePX, For: layer.distanceM, Minutes: l.Minutes,
			Best: readableM(mm, bestMinutes), Farthest: readableM(mm, leastMinutes), FarEnough: l.Minutes >= leastMinutes,
		})
	}
	return lines
}

func lightOf(nits, native float64) (lines []lightLine) {
	for _, at := range lights {
		l := lightLine{
			Lux: at.lux, Where: at.where,
			Clean: ambientContrast(nits, nits/native, at.lux, cleanShare),
			Dusty: ambientContrast(nits, nits/native, at.lux, dustyShare),
		}
		switch {
		case l.Dusty >= goodContrast:
			l.Advice = "reads well"
		case l.Dusty >= leastContrast:
			l.Advice = "reads"
		case l.Clean >= leastContrast:
			l.Advice = "reads while the glass is clean"
		default:
			l.Advice = "does not read: turn the screen from the door, or take a brighter one"
		}
		if at.lux > darkOnLightLux {
			l.Advice += "; day theme"
		}
		lines = append(lines, l)
	}
	return lines
}

// darkOnLightLux is the light above which dark characters on a light ground are called for.
const darkOnLightLux = 540
