package trend

import "math"

// CUSUM is the tabular cumulative-sum chart (Page 1954): it adds up what lies beyond
// Target by more than K on either side, and signals when a sum passes H.
type CUSUM struct {
	// Target is what values should be.
	Target float64
	// K is the slack: half the shift worth finding. Unit of the values.
	K float64
	// H is the decision interval. Unit of the values.
	H float64
	// Ceiling is where a sum stops growing, so that a signal ends within reason after
	// its cause has; 0 for nowhere.
	Ceiling float64
}

// Signal is a shift that a chart has found.
type Signal struct {
	// At is the index of the value that gave the signal.
	At int
	// Onset is the index of the first value after the sum (or the average) last stood
	// at nothing: where the shift probably began.
	Onset int
	// Up says that it is a shift upwards.
	Up bool
}

// Sums is a CUSUM carried out.
type Sums struct {
	// Upper and Lower are the sums after each value, both counted positive.
	Upper, Lower []float64
	// UpperRun and LowerRun are for how many values each sum has been above nothing.
	UpperRun, LowerRun []int
	// First is the first signal, nil for none.
	First *Signal
	// Standing is the signal that still stands at the newest value, nil for none.
	Standing *Signal
}

// Run adds up values in their order.
func (c CUSUM) Run(values []float64) Sums {
	n := len(values)
	s := Sums{Upper: make([]float64, n), Lower: make([]float64, n), UpperRun: make([]int, n), LowerRun: make([]int, n)}
	var upper, lower side
	for i, v := range values {
		upper.add(c, i, v-c.Target)
		lower.add(c, i, c.Target-v)
		s.Upper[i], s.UpperRun[i] = upper.sum, upper.run
		s.Lower[i], s.LowerRun[i] = lower.sum, lower.run
		if s.First == nil {
			s.First = signalOf(upper, lower)
		}
	}
	s.Standing = signalOf(upper, lower)
	return s
}

// side is one of a CUSUM's two sums.
type side struct {
	sum   float64
	run   int
	at    int // where the standing signal was given
	onset int
	above bool // a signal stands
}

func (s *side) add(c CUSUM, i int, beyond float64) {
	s.sum = max(0, s.sum+beyond-c.K)
	if c.Ceiling > 0 {
		s.sum = min(s.sum, c.Ceiling)
	}
	if s.sum == 0 {
		*s = side{}
		return
	}
	s.run++
	if s.run == 1 {
		s.onset = i
	}
	if s.sum > c.H && !s.above {
		s.at = i
	}
	s.above = s.sum > c.H
}

// signalOf is the signal that stands, the greater sum's when both do.
func signalOf(upper, lower side) *Signal {
	switch {
	case upper.above && (!lower.above || upper.sum >= lower.sum):
		return &Signal{At: upper.at, Onset: upper.onset, Up: true}
	case lower.above:
		return &Signal{At: lower.at, Onset: lower.onset}
	}
	return nil
}

// Scores makes a chart's food of readings whose level and scatter nobody knows: each is
// compared with those before it alone, and what comes out is independent and standard
// normal as long as nothing changes (the self-starting chart of Hawkins 1987, with the
// approximation of Student's t by Wallace 1959; both from memory, the latter tested
// against the distribution). The first two say nothing and are 0. The floor is the
// least standard deviation believed.
func Scores(values []float64, floor float64) []float64 {
	scores := make([]float64, len(values))
	mean, squares := 0.0, 0.0 // of the values before
	for i, v := range values {
		before := float64(i)
		off := v - mean
		if i >= 2 {
			sd := max(math.Sqrt(squares/(before-1)), floor)
			if sd > 0 {
				scores[i] = normalFromT(off/sd*math.Sqrt(before/(before+1)), before-1)
			} else if off != 0 {
				scores[i] = math.Copysign(farthestScore, off)
			}
		}
		mean += off / (before + 1)
		squares += off * (v - mean)
	}
	return scores
}

// farthestScore stands for a change after readings without any scatter at all.
const farthestScore = 3

// normalFromT is the standard normal deviate with the probability of Student's t.
func normalFromT(t, df float64) float64 {
	z := math.Sqrt(df*math.Log1p(t*t/df)) * (8*df + 1) / (8*df + 3)
	return math.Copysign(z, t)
}
