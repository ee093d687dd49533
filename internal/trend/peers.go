package trend

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

const (
	// LeastPeers is how many peers must have been read on a day for it to count.
	LeastPeers = 2
	// SameDay is how far apart two readings may be and still share the weather.
	SameDay = 12 * time.Hour
	// LossAlarmP is the PNoLoss below which a question to the driver is worth asking:
	// the test is repeated every week, so it must be stricter than one test in twenty.
	LossAlarmP = 0.005
	// LossAlarmKPaPerWeek is the PerWeek, in kPa, above which it is: a fifth of the last
	// digit of a gauge that shows 0.1 bar. Less is lost by sound tyres, and unevenly.
	// Both were chosen by the simulated autumn that DESIGN.md tells of.
	LossAlarmKPaPerWeek = 2.0

	mostPeers    = 32 // columns of the table: wheels, once more after each reset
	polishRounds = 10 // of the median polish; two or three settle it
)

// Loss is how one wheel changes against its peers.
type Loss struct {
	// DaysTogether is on how many days it was read together with LeastPeers peers.
	DaysTogether int
	// HasLoss says that there is enough to speak of a loss: the next four numbers.
	HasLoss bool
	// PerWeek is the loss in the unit of the value, negative for a gain (Theil-Sen).
	PerWeek float64
	// Low and High are the ends of its 95 % interval.
	Low, High float64
	// PNoLoss is the probability of such a loss, or a greater one, were there none
	// (one-sided); 1 without a loss.
	PNoLoss float64
	// TopUps is how often it was topped up on those days.
	TopUps int
}

// PeerLoss compares one wheel with the others of the vehicle read on the same day. What
// they share, such as a cold night or a gauge that reads high, cancels; no thermometer is
// needed. Each wheel is balanced first, so topping up neither hides a loss nor looks like
// one. A peer that leaks itself, or was misread, is outvoted by the median of the others.
// A resolution of 0 is taken from the readings, as by Summarise.
// It looks back as far as the wheel's own newest reset; a peer that was reset counts as
// another peer from there on. Cost n² for n days, MostPoints at most.
func PeerLoss(own Series, peers []Series, resolution float64) Loss {
	current := newestOf(own.Current())
	step := stepOf(resolution, current)
	table := together(current, peers).connected()
	out := Loss{DaysTogether: len(table.days), PNoLoss: 1}
	for _, added := range table.added {
		if added > 0 {
			out.TopUps++
		}
	}
	line := track{days: table.days, values: table.against()}
	line = line.without(ignored(line.values, step))
	if !line.enough() {
		return out
	}
	slope, ok := TheilSen(line.days, line.values, Confidence)
	if !ok {
		return out
	}
	out.HasLoss = true
	out.PerWeek = -slope.PerDay * daysPerWeek
	out.Low, out.High = -slope.High*daysPerWeek, -slope.Low*daysPerWeek
	out.PNoLoss = fallByChance(line, step)
	return out
}

// newestOf keeps the newest MostPoints points of a cleaned series.
func newestOf(s Series) Series { return s[max(0, len(s)-MostPoints):] }

// shared is a table of readings: a row for each day, a column for each peer.
type shared struct {
	days  []float64
	own   []float64
	added []float64   // to the wheel itself, since the row before
	peers [][]float64 // by row, then by column; NaN where a peer was not read
}

// together makes the table of a cleaned series and its peers.
func together(own Series, peers []Series) shared {
	var columns []Series
	for _, peer := range peers {
		columns = append(columns, peer.Segments()...)
	}
	columns = columns[max(0, len(columns)-mostPeers):]
	balanced := make([]track, len(columns))
	for i, column := range columns {
		balanced[i] = column.track()
	}
	line := own.track()
	var table shared
	for i, p := range own {
		row := make([]float64, len(columns))
		read := 0
		for j, column := range columns {
			row[j] = math.NaN()
			if at := nearest(column, p.At); at >= 0 {
				row[j] = balanced[j].values[at]
				read++
			}
		}
		if read >= LeastPeers {
			table.add(line.days[i], line.values[i], p.Added, row)
		}
	}
	return table
}

func (t *shared) add(day, own, added float64, peers []float64) {
	t.days = append(t.days, day)
	t.own = append(t.own, own)
	t.added = append(t.added, added)
	t.peers = append(t.peers, peers)
}

// nearest is the index of the point nearest to an instant, -1 when none is of that day.
func nearest(s Series, at time.Time) int {
	after, _ := slices.BinarySearchFunc(s, at, func(p Point, t time.Time) int { return p.At.Compare(t) })
	best := -1
	least := SameDay + 1
	for _, i := range []int{after - 1, after} {
		if i < 0 || i >= len(s) {
			continue
		}
		if apart := s[i].At.Sub(at).Abs(); apart < least {
			best, least = i, apart
		}
	}
	return best
}

// connected cuts the table where too few peers reach across: levels on the two sides
// of such a day could not be compared. What is older is dropped.
func (t shared) connected() shared {
	begin := len(t.days) - 1
	if begin < 0 {
		return t
	}
	seen := make([]bool, len(t.peers[begin]))
	for ; begin >= 0; begin-- {
		common := 0
		for j, v := range t.peers[begin] {
			if !math.IsNaN(v) && seen[j] {
				common++
			}
		}
		if begin < len(t.days)-1 && common < LeastPeers {
			break
		}
		for j, v := range t.peers[begin] {
			seen[j] = seen[j] || !math.IsNaN(v)
		}
	}
	begin++
	return shared{t.days[begin:], t.own[begin:], t.added[begin:], t.peers[begin:]}
}

// against is the wheel's value on each day less what its peers had in common then. The
// peers stand at different levels and not all are read every day, so their levels are
// taken out first: rows and columns in turn, by medians (Tukey's median polish).
func (t shared) against() []float64 {
	if len(t.days) == 0 {
		return nil
	}
	common := make([]float64, len(t.days))
	levels := make([]float64, len(t.peers[0]))
	var buffer []float64
	for range polishRounds {
		for j := range levels {
			buffer = buffer[:0]
			for i, row := range t.peers {
				buffer = appendRead(buffer, row[j]-common[i])
			}
			levels[j] = medianOf(buffer)
		}
		for i, row := range t.peers {
			buffer = buffer[:0]
			for j, v := range row {
				buffer = appendRead(buffer, v-levels[j])
			}
			common[i] = medianOf(buffer)
		}
	}
	difference := make([]float64, len(t.days))
	for i := range difference {
		difference[i] = t.own[i] - common[i]
	}
	return difference
}

func appendRead(values []float64, v float64) []float64 {
	if math.IsNaN(v) {
		return values
	}
	return append(values, v)
}

// fallByChance is the one-sided probability of a least-squares slope as steep downwards,
// were there none (Student's t). The scatter is never believed to be smaller than what
// rounding to the gauge's step leaves in one reading.
func fallByChance(t track, step float64) float64 {
	l, ok := FitLine(t.days, t.values)
	if !ok || l.Slope == 0 {
		return 1
	}
	scatter := max(l.ResidualSD, step/math.Sqrt(12))
	// Without any scatter this is infinite, of which the probability is 0 or 1.
	statistic := l.Slope / (scatter / math.Sqrt(l.sumXX))
	return distuv.StudentsT{Sigma: 1, Nu: float64(l.Freedoms)}.CDF(statistic)
}
