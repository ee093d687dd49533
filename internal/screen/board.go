package screen

// Board is a bay display and where it is read from.
type Board struct {
	DiagonalInches float64 // of the picture, as sold
	WidthPX        int     // of the picture, in CSS pixels
	HeightPX       int
	FarM           float64 // from the farthest place it must be read from
}
