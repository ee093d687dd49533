package screen

import (
	"errors"
	"fmt"
	"math"
)

// Board is a bay display and where it is read from.
type Board struct {
	DiagonalInches float64 // of the picture, as sold
	WidthPX        int     // of the picture, in CSS pixels
	HeightPX       int
	FarM           float64 // from the farthest place it must be read from
	Theme          string  // "day" or "night"; empty: as the browser prefers
}

// The arithmetic of the board.
//
// A capital letter of height h is seen from distance D under the angle a when
// h = D × tan(a). Letters are read from 16 minutes of arc, comfortably from 20 to
// 22. A capital is 0.7 of the type size in the common sans faces, so
//
//	type size in px = D × 1000 × tan(a/60°) / 0.7 × pixels per mm
//	pixels per mm   = √(width² + height²) / (diagonal × 25.4)
//
// For 55 inches, 1920 × 1080, 15 m, 20′: 1.577 px/mm, a capital of 87.3 mm, type of
// 197 px, and four lines fill the screen. So the far layer has two or three lines, the
// layer for a third of the distance one row a vehicle and one beneath the verdict, and the foot of the
// screen is for whoever stands at a tenth of it. The angle is the same in all
// layers, as large as lets all vehicles in; below 16′ the set-up page says from
// where it can still be read.
const (
	capOfType    = 0.7  // height of a capital, as a share of the type size
	leastMinutes = 16.0 // of arc, to be read at all
	bestMinutes  = 20.0
	mostMinutes  = 22.0
	mmPerInch    = 25.4

	midShare  = 3.0  // the rows are read from FarM / midShare
	nearShare = 10.0 // the foot from FarM / nearShare

	farLine  = 1.08 // height of a line, as a multiple of its type size
	rowLine  = 1.32 // with the line between rows
	nearLine = 1.35

	widestWord = 8.9 // ems of the widest verdict word in bold capitals
	markLines  = 1.9 // the far mark's box is a square of so many far lines

	mostRows = 24 // vehicles that are reckoned with
)

// capHeightMM is how tall a capital must be to be seen under an angle.
func capHeightMM(distanceM, minutes float64) float64 {
	return distanceM * 1000 * math.Tan(minutes/60*math.Pi/180)
}

// readableM is from how far a capital is seen under an angle.
func readableM(heightMM, minutes float64) float64 {
	return heightMM / 1000 / math.Tan(minutes/60*math.Pi/180)
}

func (b Board) pxPerMM() float64 {
	return math.Hypot(float64(b.WidthPX), float64(b.HeightPX)) / (b.DiagonalInches * mmPerInch)
}

// typePX is the type size whose capitals are seen from distanceM under an angle.
func (b Board) typePX(distanceM, minutes float64) float64 {
	return capHeightMM(distanceM, minutes) / capOfType * b.pxPerMM()
}

func (b Board) check() error {
	switch {
	case !(b.DiagonalInches >= 5 && b.DiagonalInches <= 200):
		return errors.New("the board's diagonal must lie between 5 and 200 inches")
	case b.WidthPX < 320 || b.WidthPX > 16384 || b.HeightPX < 320 || b.HeightPX > 16384:
		return errors.New("the board's picture must be 320 to 16384 pixels wide and high")
	case !(b.FarM >= 2 && b.FarM <= 100):
		return errors.New("the board must be read from 2 to 100 m")
	case !themed(b.Theme):
		return fmt.Errorf("the theme is day or night, not %q", b.Theme)
	}
	return nil
}

// themed says whether there is such a theme; empty is as the browser prefers.
func themed(theme string) bool { return theme == "" || theme == "day" || theme == "night" }

// layout is how the board is shared out; lengths are CSS pixels of the board.
type layout struct {
	Minutes   float64 // angle under which the capitals of all layers are seen
	Far       float64 // type sizes
	Mid       float64
	Near      float64
	Row       float64 // height of one row
	Mark      float64 // side of the far mark's box
	Pad       float64
	FarLines  int
	NearLines int
}

// layout shares the board out among the layers for a number of vehicles: first the
// least lines that each layer wants, then the largest angle that lets them in.
func (b Board) layout(vehicles int) layout {
	var l layout
	for _, want := range []struct{ far, near int }{{3, 6}, {2, 5}, {2, 4}} {
		l = b.share(vehicles, want.far, want.near)
		if l.Minutes >= leastMinutes {
			break
		}
	}
	return l
}

func (b Board) share(vehicles, farLines, nearLines int) layout {
	pad := 0.014 * float64(min(b.WidthPX, b.HeightPX))
	perMinute := func(distanceM float64) float64 { return b.typePX(distanceM, bestMinutes) / bestMinutes }
	far, mid, near := perMinute(b.FarM), perMinute(b.FarM/midShare), perMinute(b.FarM/nearShare)
	rows := float64(vehicles + 1) // one for what is said beneath the verdict
	byHeight := (float64(b.HeightPX) - 6*pad) /
		(far*farLine*float64(farLines) + mid*rowLine*rows + near*nearLine*float64(nearLines))
	wide := widestWord + markLines*farLine
	if b.HeightPX > b.WidthPX {
		wide = widestWord // the mark stands above the word
	}
	byWidth := (float64(b.WidthPX) - 4*pad) / (far * wide)
	m := min(byHeight, byWidth, mostMinutes)
	far, mid, near = b.typePX(b.FarM, m), b.typePX(b.FarM/midShare, m), b.typePX(b.FarM/nearShare, m)
	return layout{
		Minutes: m, Far: far, Mid: mid, Near: near, Row: mid * rowLine,
		Mark: far * farLine * markLines, Pad: pad, FarLines: farLines, NearLines: nearLines,
	}
}

// ambientContrast is the contrast of a screen on which light falls: white and
// black in cd/m², illuminance in lux, reflected as a share of it by a diffuse surface.
func ambientContrast(white, black, lux, reflected float64) float64 {
	veil := lux * reflected / math.Pi
	return (white + veil) / (black + veil)
}
