package measure

// knot is one line of a published table.
type knot struct{ x, y float64 }

// curve is a published table by rising x; between two lines it runs straight.
type curve []knot

// at returns the value at x; false outside the table and for what is no number.
func (c curve) at(x float64) (float64, bool) {
	if !(x >= c[0].x && x <= c[len(c)-1].x) {
		return 0, false
	}
	i := 1
	for x > c[i].x {
		i++
	}
	a, b := c[i-1], c[i]
	share := (x - a.x) / (b.x - a.x)
	return a.y*(1-share) + b.y*share, true
}
