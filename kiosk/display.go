package main

import (
	"math"

	"github.com/spf13/pflag"

	"bayround/internal/command"
	"bayround/internal/screen"
)

// displayFlags are the sizes of the glass, as sold.
type displayFlags struct {
	tabletInches float64
	tabletPX     int
	bayInches    float64
	bayWidthPX   int
	bayHeightPX  int
	bayFarM      float64
}

func (d *displayFlags) add(flags *pflag.FlagSet) {
	flags.Float64Var(&d.tabletInches, "tablet-inches", 10.1, "diagonal of the tablet's glass; targets are measured in millimetres on it")
	flags.IntVar(&d.tabletPX, "tablet-pixels", 1509, "diagonal of the tablet's page in CSS pixels: 1509 for 1280 × 800")
	flags.Float64Var(&d.bayInches, "bay-inches", 55, "diagonal of the bay display")
	flags.IntVar(&d.bayWidthPX, "bay-width", 1920, "width of the bay display's page in CSS pixels")
	flags.IntVar(&d.bayHeightPX, "bay-height", 1080, "height of the bay display's page in CSS pixels")
	flags.Float64Var(&d.bayFarM, "bay-distance", 15, "farthest place from which the bay display must be read, in metres")
}

// display checks the sizes and turns them into what pages are laid out by.
func (d *displayFlags) display() (screen.Display, error) {
	const mmPerInch = 25.4
	for name, value := range map[string]float64{
		"tablet-inches": d.tabletInches, "tablet-pixels": float64(d.tabletPX), "bay-inches": d.bayInches,
		"bay-width": float64(d.bayWidthPX), "bay-height": float64(d.bayHeightPX), "bay-distance": d.bayFarM,
	} {
		if !(value > 0) || math.IsInf(value, 0) {
			return screen.Display{}, command.Misuse("--%s must be more than 0", name)
		}
	}
	return screen.Display{
		TabletMMPerPX: d.tabletInches * mmPerInch / float64(d.tabletPX),
		Board: screen.Board{
			DiagonalInches: d.bayInches, WidthPX: d.bayWidthPX, HeightPX: d.bayHeightPX, FarM: d.bayFarM,
		},
	}, nil
}
