package screen

import (
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
)

// boardOf is the board as an address describes it; what the address does not say is
// as configured. So each display may open the page with its own measures.
func boardOf(base Board, query url.Values) (Board, error) {
	b := base
	for key, value := range query {
		if len(value) != 1 {
			return b, fmt.Errorf("%s is given %d times", key, len(value))
		}
		var err error
		switch key {
		case "inches":
			b.DiagonalInches, err = strconv.ParseFloat(value[0], 64)
		case "metres":
			b.FarM, err = strconv.ParseFloat(value[0], 64)
		case "width":
			b.WidthPX, err = strconv.Atoi(value[0])
		case "height":
			b.HeightPX, err = strconv.Atoi(value[0])
		case "theme":
			b.Theme = value[0]
			if b.Theme == "auto" {
				b.Theme = ""
			}
		}
		if err != nil {
			return b, fmt.Errorf("%s must be a number", key)
		}
	}
	return b, b.check()
}

// query is the address's part that leads boardOf to b.
func (b Board) query() string {
	theme := b.Theme
	if theme == "" {
		theme = "auto"
	}
	return url.Values{
		"inches": {strconv.FormatFloat(b.DiagonalInches, 'g', -1, 64)}, "metres": {strconv.FormatFloat(b.FarM, 'g', -1, 64)},
		"width": {strconv.Itoa(b.WidthPX)}, "height": {strconv.Itoa(b.HeightPX)}, "theme": {theme},
	}.Encode()
}

// sizes answers GET /display.css: how long a millimetre on the glass is, and how
// the board is shared out for each number of vehicles. The policy of the pages
// allows no style in the HTML itself.
func (s *Server) sizes(w http.ResponseWriter, r *http.Request) {
	board, err := boardOf(s.config.Display.Board, r.URL.Query())
	if err != nil {
		http.Error(w, "The display cannot be as this address says: "+err.Error()+".", http.StatusBadRequest)
		return
	}
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	w.Header().Set("Cache-Control", "no-cache")
	writeSizes(w, s.config.Display.TabletMMPerPX, board)
}

// writeSizes gives lengths in --u, one pixel of the board as configured, so that a
// window of another size shows the board as a whole, smaller or larger.
func writeSizes(w io.Writer, tabletMMPerPX float64, b Board) {
	fmt.Fprintf(w, ":root{--mm:%.4fpx;--bay-mm:%.4f;--u:min(calc(100vw / %d),calc(100vh / %d))}\n",
		1/tabletMMPerPX, b.pxPerMM(), b.WidthPX, b.HeightPX)
	for n := range mostRows + 1 {
		l := b.layout(n)
		fmt.Fprintf(w, "[data-rows=\"%d\"]{--far:%.1f;--mid:%.1f;--near:%.1f;--row:%.1f;--mark:%.1f;--pad:%.1f;--near-lines:%d}\n",
			n, l.Far, l.Mid, l.Near, l.Row, l.Mark, l.Pad, l.NearLines)
	}
}
