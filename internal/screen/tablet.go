package screen

import (
	"html/template"

	"bayround/internal/round"
)

// tabletPages are the templates of the tablet.
var tabletPages = template.Must(template.New("tablet").ParseFS(files, "templates/tablet*.html"))

// tabletRegions draws everything the tablet shows.
func tabletRegions(v *round.View, d Display) ([]region, error) {
	return nil, nil
}
