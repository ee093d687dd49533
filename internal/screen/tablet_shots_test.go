package screen

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

// shots is where the samples are written as pages that a browser can open by
// themselves, to be looked at: go test ./internal/screen -run Shots -shots=DIR
var shots = flag.String("shots", "", "folder to write the tablet's sample pages to")

// smallTabletMMPerPX is a 10.1-inch glass of 1280 by 800 CSS pixels, the smallest
// that the tablet's page is laid out for.
const smallTabletMMPerPX = 0.1695

// samplePage is a whole page, as it is served, of one sample.
func samplePage(t testing.TB, name, theme string) []byte {
	t.Helper()
	a, err := loadAssets()
	if err != nil {
		t.Fatal(err)
	}
	regions, err := tabletRegions(sampleViews(t)[name], Display{TabletMMPerPX: smallTabletMMPerPX})
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	var page bytes.Buffer
	if err := tabletPages.ExecuteTemplate(&page, "tablet.html", shell{Title: "Bayround", Theme: theme, Regions: regions, assets: a}); err != nil {
		t.Fatal(err)
	}
	return page.Bytes()
}

func TestShots_WritesThePages(t *testing.T) {
	if *shots == "" {
		t.Skip("no folder given with -shots")
	}
	css, err := files.ReadFile("static/tablet.css")
	if err != nil {
		t.Fatal(err)
	}
	style := fmt.Appendf(nil, "<style>:root{--mm:%.4fpx}\n%s</style>", 1/smallTabletMMPerPX, css)
	for _, theme := range []string{"day", "night"} {
		for _, name := range sampleNames(t) {
			page := bytes.Replace(samplePage(t, name, theme), []byte("</head>"), append(style, "</head>"...), 1)
			if err := os.WriteFile(filepath.Join(*shots, name+"."+theme+".html"), page, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}
