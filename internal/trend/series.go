package trend

import (
	"math"
	"slices"
	"time"
)

const (
	// Largest is the largest size of a value that is taken for a measurement.
	Largest = 1e9
	// MostPoints is how many points pairwise methods look at.
	MostPoints = 128
	// LeastPoints is how many points a slope rests on at least (common practice).
	LeastPoints = 5
	// LeastDays is how many days they span at least (common practice): three weekly
	// readings are a moment, not a history.
	LeastDays = 21.0
)

// Point is one measurement at one place.
type Point struct {
	// At is when somebody looked.
	At time.Time
	// Value in any unit, the same one throughout a series.
	Value float64
	// AsRead is what the gauge showed when Value was made from it (brought to the
	// reference temperature, say); 0 when Value itself was read.
	AsRead float64
	// Added is what was put in since the point before, in the unit of Value;
	// negative for let out.
	Added float64
	// Reset says that something was repaired or changed since the point before:
	// another tyre, another gauge, another reference. History begins anew here.
	Reset bool
	// Km is the odometer; 0 when it was not read.
	Km float64
	// Hours the engine had run; 0 when they were not read.
	Hours float64
}

// measured says whether the point's numbers can come from a gauge.
func (p Point) measured() bool {
	return sound(p.Value) && sound(p.AsRead)
}

// shown is what the gauge showed.
func (p Point) shown() float64 {
	if p.AsRead != 0 {
		return p.AsRead
	}
	return p.Value
}

// sound says whether a number is finite and no larger than Largest.
func sound(x float64) bool { return math.Abs(x) <= Largest }

// Series is what was measured at one place. Its methods take points in any order.
type Series []Point

// Current returns the points since the newest reset, oldest first, without those that
// are no measurement. What was added at a point left out counts for the next one.
func (s Series) Current() Series {
	sorted := slices.Clone(s)
	slices.SortStableFunc(sorted, func(a, b Point) int { return a.At.Compare(b.At) })
	kept := sorted[:0]
	carried := Point{} // what points left out have told
	for _, p := range sorted {
		p.Reset = p.Reset || carried.Reset
		p.Added = plausible(p.Added) + carried.Added
		if !p.measured() {
			carried = p
			continue
		}
		carried = Point{}
		if p.Reset {
			kept = kept[:0]
		}
		kept = append(kept, p)
	}
	if len(kept) > 0 {
		kept[0].Added = 0 // put in before there was anything to compare with
	}
	return kept
}

// plausible is an amount, or nothing when the number cannot be one.
func plausible(amount float64) float64 {
	if sound(amount) {
		return amount
	}
	return 0
}

// Segments cuts a series at its resets, oldest part first.
func (s Series) Segments() []Series {
	sorted := slices.Clone(s)
	slices.SortStableFunc(sorted, func(a, b Point) int { return a.At.Compare(b.At) })
	var parts []Series
	begin := 0
	for i := 1; i <= len(sorted); i++ {
		if i == len(sorted) || sorted[i].Reset {
			parts = append(parts, sorted[begin:i].Current())
			begin = i
		}
	}
	return slices.DeleteFunc(parts, func(part Series) bool { return len(part) == 0 })
}

// track is a series made ready for arithmetic: no resets, balanced, oldest first.
type track struct {
	last   time.Time // when the newest point was read
	days   []float64 // since the first point
	values []float64
}

// Balanced is the mass balance: the days since the first point and what would have been
// read on them had everything put in later been inside already. The newest value stays
// what it was, a top-up leaves no step, and a loss made good by topping up shows as the
// loss it is. It looks at what [Series.Current] returns.
func (s Series) Balanced() (days, values []float64) {
	t := s.Current().track()
	return t.days, t.values
}

// track balances a series that Current has cleaned.
func (s Series) track() track {
	t := track{days: make([]float64, len(s)), values: make([]float64, len(s))}
	if len(s) == 0 {
		return t
	}
	t.last = s[len(s)-1].At
	later := 0.0
	for i := len(s) - 1; i >= 0; i-- {
		t.days[i] = daysBetween(s[0].At, s[i].At)
		t.values[i] = s[i].Value + later
		later += s[i].Added
	}
	return t
}

// span is how many days the track covers.
func (t track) span() float64 {
	if len(t.days) == 0 {
		return 0
	}
	return t.days[len(t.days)-1] - t.days[0]
}

// newest is the day of the newest point; there must be one.
func (t track) newest() float64 { return t.days[len(t.days)-1] }

// late is the part of the track in the newest LookBack.
func (t track) late() track {
	if len(t.days) == 0 {
		return t
	}
	begin, _ := slices.BinarySearch(t.days, t.newest()-LookBack.Hours()/hoursPerDay)
	return track{last: t.last, days: t.days[begin:], values: t.values[begin:]}
}

// enough says whether there is enough to speak of a slope.
func (t track) enough() bool { return len(t.days) >= LeastPoints && t.span() >= LeastDays }

// thinned puts neighbouring points together until at most MostPoints are left: each
// group becomes the median of its days and of its values.
func (t track) thinned() track {
	n := len(t.days)
	if n <= MostPoints {
		return t
	}
	size := (n + MostPoints - 1) / MostPoints
	thin := track{last: t.last}
	for end := n; end > 0; end -= size { // the newest group is always a full one
		begin := max(end-size, 0)
		thin.days = append(thin.days, Median(t.days[begin:end]))
		thin.values = append(thin.values, Median(t.values[begin:end]))
	}
	slices.Reverse(thin.days)
	slices.Reverse(thin.values)
	return thin
}

// without leaves out the points whose index is true in dropped.
func (t track) without(dropped []bool) track {
	kept := track{last: t.last, days: make([]float64, 0, len(dropped)), values: make([]float64, 0, len(dropped))}
	for i, drop := range dropped {
		if !drop {
			kept.days = append(kept.days, t.days[i])
			kept.values = append(kept.values, t.values[i])
		}
	}
	return kept
}

const hoursPerDay = 24

func daysBetween(from, to time.Time) float64 { return to.Sub(from).Hours() / hoursPerDay }
