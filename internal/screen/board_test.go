package screen

import (
	"math"
	"net/url"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Figures of the human-factors table: cap height by distance and angle, h = D × tan(a).
func TestCapHeight_IsThatOfTheTable(t *testing.T) {
	for _, tc := range []struct{ distanceM, minutes, mm, within float64 }{
		{1, 16, 4.7, 0.05},
		{1, 20, 5.8, 0.05},
		{1, 22, 6.4, 0.05},
		{5, 16, 23.3, 0.05},
		{5, 20, 29.1, 0.05},
		{5, 22, 32.0, 0.05},
		{10, 16, 46.5, 0.05},
		{10, 20, 58.2, 0.05},
		{10, 22, 64.0, 0.05},
		{15, 16, 69.8, 0.05},
		{15, 20, 87.3, 0.05},
		{15, 22, 96.0, 0.05},
		{15, 17.19, 75, 0.05}, // the rough rule of one in two hundred is 17 minutes
	} {
		got := capHeightMM(tc.distanceM, tc.minutes)
		if math.Abs(got-tc.mm) > tc.within {
			t.Errorf("at %v m under %v′: %.2f mm, want %v", tc.distanceM, tc.minutes, got, tc.mm)
		}
		if back := readableM(got, tc.minutes); math.Abs(back-tc.distanceM) > 1e-9 {
			t.Errorf("%.2f mm under %v′ is read from %v m, want %v", got, tc.minutes, back, tc.distanceM)
		}
	}
}

// Lines of 20′ on a screen, as the same table has them: cap height / 0.7 × 1.2.
func TestBoard_HoldsAsManyLinesAsTheTable(t *testing.T) {
	for _, tc := range []struct {
		inches, distanceM float64
		lines             int
	}{{55, 5, 13}, {55, 10, 6}, {55, 15, 4}, {75, 5, 18}, {75, 10, 9}, {75, 15, 6}} {
		b := Board{DiagonalInches: tc.inches, WidthPX: 1920, HeightPX: 1080, FarM: tc.distanceM}
		if got := int(float64(b.HeightPX) / (b.typePX(tc.distanceM, bestMinutes) * 1.2)); got != tc.lines {
			t.Errorf("%v inches at %v m hold %d lines, want %d", tc.inches, tc.distanceM, got, tc.lines)
		}
	}
}

// Worked figures of the table on light: 500 and 1,500 cd/m² white, a thousand to one
// in the dark, 2 % and 5 % thrown back.
func TestAmbientContrast_IsThatOfTheWorkedFigures(t *testing.T) {
	for _, tc := range []struct{ white, lux, share, want, within float64 }{
		{500, 1000, 0.02, 74, 0.5},
		{500, 10000, 0.02, 8.8, 0.05},
		{500, 30000, 0.02, 3.6, 0.05},
		{500, 1000, 0.05, 31, 0.5},
		{500, 10000, 0.05, 4.1, 0.05},
		{1500, 10000, 0.02, 24, 0.5},
		{1500, 30000, 0.02, 8.8, 0.05},
		{500, 0, 0.02, 1000, 1e-9}, // in the dark nothing is thrown back
	} {
		if got := ambientContrast(tc.white, tc.white/1000, tc.lux, tc.share); math.Abs(got-tc.want) > tc.within {
			t.Errorf("%v cd/m² at %v lx, %v thrown back: %.2f, want %v", tc.white, tc.lux, tc.share, got, tc.want)
		}
	}
}

// Whatever the board, the layers never take more room than there is, and the angle
// that is claimed is the one that the letters are seen under.
func TestBoard_LayersFitAnyBoard(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := Board{
			DiagonalInches: rapid.Float64Range(20, 120).Draw(t, "inches"), FarM: rapid.Float64Range(2, 40).Draw(t, "metres"),
			WidthPX: rapid.IntRange(600, 4000).Draw(t, "width"), HeightPX: rapid.IntRange(600, 4000).Draw(t, "height"),
		}
		n := rapid.IntRange(0, mostRows).Draw(t, "vehicles")
		l := b.layout(n)
		high := l.Far*farLine*float64(l.FarLines) + l.Row*float64(n+1) + l.Near*nearLine*float64(l.NearLines)
		wide := widestWord * l.Far
		if b.WidthPX >= b.HeightPX {
			wide += l.Mark
		}
		if high > float64(b.HeightPX) || wide > float64(b.WidthPX) || !(l.Far > 0) {
			t.Fatalf("%d vehicles on %+v: %.0f px high, %.0f wide, %+v", n, b, high, wide, l)
		}
		if mm := l.Far * capOfType / b.pxPerMM(); math.Abs(readableM(mm, l.Minutes)-b.FarM) > 1e-6 {
			t.Fatalf("the far layer is seen under %v′ from %v m, want from %v", l.Minutes, readableM(mm, l.Minutes), b.FarM)
		}
	})
}

func TestBoard_SevenVehiclesReadFromFifteenMetres(t *testing.T) {
	for n := 1; n <= 7; n++ {
		if l := fullHD.layout(n); l.Minutes < 16 { // the least of the table
			t.Errorf("%d vehicles on 55 inches are seen under %.1f′ only", n, l.Minutes)
		}
	}
}

func TestBoardOf_RefusesWhatCannotBe(t *testing.T) {
	for _, tc := range []struct{ query, wrong string }{
		{"inches=75&metres=12.5&width=3840&height=2160&theme=night", ""},
		{"", ""},
		{"utm=ignored", ""},
		{"inches=NaN", "diagonal"},
		{"inches=-1", "diagonal"},
		{"metres=Inf", "2 to 100 m"},
		{"width=0", "pixels"},
		{"width=wide", "number"},
		{"theme=%3Cscript%3E", "theme"},
		{"inches=50&inches=60", "2 times"},
	} {
		query, err := url.ParseQuery(tc.query)
		if err != nil {
			t.Fatal(err)
		}
		b, err := boardOf(fullHD, query)
		if tc.wrong == "" && err != nil || tc.wrong != "" && (err == nil || !strings.Contains(err.Error(), tc.wrong)) {
			t.Errorf("%q: %v, want %q", tc.query, err, tc.wrong)
		}
		if err == nil {
			again, _ := url.ParseQuery(b.query())
			if same, err := boardOf(Board{}, again); err != nil || same != b {
				t.Errorf("%+v is said as %q and read as %+v, %v", b, b.query(), same, err)
			}
		}
	}
}

// The set-up page says from where a layer is read: under the angle at which it
// stands from its own distance, under 16′ from farther off, in proportion.
func TestSetUp_SaysFromWhereEachLayerReads(t *testing.T) {
	for _, vehicles := range []int{1, 4, 10, mostRows} {
		for _, l := range layersOf(fullHD, vehicles) {
			if math.Abs(capHeightMM(l.Farthest, 16)-l.CapMM) > 1e-6 || math.Abs(capHeightMM(l.Best, 20)-l.CapMM) > 1e-6 {
				t.Errorf("%d vehicles, %s: %+v", vehicles, l.What, l)
			}
			if l.FarEnough != (l.Farthest >= l.For) {
				t.Errorf("%d vehicles, %s: read to %.2f m, meant for %.2f m, far enough: %v", vehicles, l.What, l.Farthest, l.For, l.FarEnough)
			}
		}
	}
}

func TestSetUp_SaysWhichLightIsTooMuch(t *testing.T) {
	for _, l := range lightOf(500, 1000) {
		if tooMuch := strings.Contains(l.Advice, "does not read"); tooMuch != (l.Lux >= 30000) { // 3.6 to one on clean glass
			t.Errorf("%v lx: %s", l.Lux, l.Advice)
		}
		if day := strings.Contains(l.Advice, "day theme"); day != (l.Lux > 540) { // dark on light above 540 lx
			t.Errorf("%v lx: %s", l.Lux, l.Advice)
		}
	}
	for _, query := range []string{"nits=0", "native=x", "vehicles=0", "vehicles=25", "inches=NaN"} {
		values, err := url.ParseQuery(query)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := setupOf(fullHD, values); err == nil {
			t.Errorf("%s was taken", query)
		}
	}
}
