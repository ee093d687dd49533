package trend_test

import (
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"strconv"
	"testing"

	"bayround/internal/trend"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Average run lengths: how many values pass before a chart signals. Without a change that
// is how rare false alarms are, with one how soon it is found.

// lookedAt is how many values one simulated run may have; a run that ends there without a
// signal counts as that long, which makes averages a little too small, not too great.
const lookedAt = 6000

// runLength averages over seeded runs; values makes n values of one run, and the chart
// says which of them gives the first signal.
func runLength(runs int, values func(*rand.Rand, int) []float64, first func([]float64) *trend.Signal) float64 {
	sum := 0.0
	for seed := range uint64(runs) {
		sum += float64(oneRun(seed, values, first))
	}
	return sum / float64(runs)
}

// oneRun looks at few values first, and at all only when those give no signal.
func oneRun(seed uint64, values func(*rand.Rand, int) []float64, first func([]float64) *trend.Signal) int {
	for _, n := range []int{60, 600, lookedAt} {
		if signal := first(values(rand.New(rand.NewPCG(seed, 1954)), n)); signal != nil {
			return signal.At + 1
		}
	}
	return lookedAt
}

func shiftedBy(shift float64) func(*rand.Rand, int) []float64 {
	return func(random *rand.Rand, n int) []float64 {
		values := make([]float64, n)
		for i := range values {
			values[i] = shift + random.NormFloat64()
		}
		return values
	}
}

func cusumFirst(k, h float64) func([]float64) *trend.Signal {
	return func(values []float64) *trend.Signal { return trend.CUSUM{K: k, H: h}.Run(values).First }
}

// upperFirst looks at the upper side alone, as the chart for use does.
func upperFirst(k, h float64) func([]float64) *trend.Signal {
	return func(values []float64) *trend.Signal {
		for i, sum := range (trend.CUSUM{K: k, H: h}).Run(values).Upper {
			if sum > h {
				return &trend.Signal{At: i, Up: true}
			}
		}
		return nil
	}
}

func ewmaFirst(values []float64) *trend.Signal { return trend.RecommendedEWMA().Run(values).First }

// siegmund is the average run length of a one-sided CUSUM for a shift of the mean, in
// standard deviations (Siegmund 1985; formula from memory).
func siegmund(k, h, shift float64) float64 {
	drift, boundary := shift-k, h+1.166
	if drift == 0 {
		return boundary * boundary
	}
	return (math.Exp(-2*drift*boundary) + 2*drift*boundary - 1) / (2 * drift * drift)
}

// bothSides joins two one-sided charts: their rates add.
func bothSides(k, h, shift float64) float64 {
	return 1 / (1/siegmund(k, h, shift) + 1/siegmund(k, h, -shift))
}

// ewmaSteady is the average run length of an EWMA with steady limits, from the Markov chain of
// its average on a fine grid (Brook and Evans 1972; method from memory).
func ewmaSteady(lambda, l, shift float64) float64 {
	const cells = 201
	limit := l * math.Sqrt(lambda/(2-lambda))
	width := 2 * limit / cells
	centre := func(i int) float64 { return -limit + (float64(i)+0.5)*width }
	system, ones := mat.NewDense(cells, cells, nil), mat.NewVecDense(cells, nil)
	normal := distuv.UnitNormal
	for i := range cells {
		ones.SetVec(i, 1)
		for j := range cells {
			upper := (centre(j) + width/2 - (1-lambda)*centre(i)) / lambda
			lower := (centre(j) - width/2 - (1-lambda)*centre(i)) / lambda
			system.Set(i, j, -(normal.CDF(upper-shift) - normal.CDF(lower-shift)))
		}
		system.Set(i, i, 1+system.At(i, i))
	}
	var lengths mat.VecDense
	if err := lengths.SolveVec(system, ones); err != nil {
		return math.NaN()
	}
	return lengths.AtVec(cells / 2)
}

// The simulation is held to what theory says of charts whose level and scatter are known.
// The EWMA's exact limits start narrow, so after a shift it is sooner than theory's.
func TestRunLength_SimulationAgreesWithTheory(t *testing.T) {
	for _, tc := range []struct {
		name         string
		simulated    float64
		theory       float64
		within       float64 // share
		published    float64 // 0 when none is known
		publishedSay string
	}{
		{"CUSUM 0.5, 5, no shift", runLength(3000, shiftedBy(0), cusumFirst(0.5, 5)), bothSides(0.5, 5, 0), 0.08, 465, "tables of the two-sided chart, from memory"},
		{"CUSUM 0.5, 5, one sigma", runLength(3000, shiftedBy(1), cusumFirst(0.5, 5)), bothSides(0.5, 5, 1), 0.08, 10.4, "tables of the two-sided chart, from memory"},
		{"CUSUM 0.25, 8, no shift", runLength(3000, shiftedBy(0), cusumFirst(0.25, 8)), bothSides(0.25, 8, 0), 0.08, 370, "table of Hawkins for h = 8.01, from memory"},
		{"upper CUSUM 0.25, 8, no shift", runLength(3000, shiftedBy(0), upperFirst(0.25, 8)), siegmund(0.25, 8, 0), 0.08, 0, ""},
		{"EWMA 0.2, 3, no shift", runLength(3000, shiftedBy(0), ewmaFirst), ewmaSteady(0.2, 3, 0), 0.08, 560, "tables of Lucas and Saccucci, from memory"},
		{"EWMA 0.2, 3, one sigma", runLength(3000, shiftedBy(1), ewmaFirst), ewmaSteady(0.2, 3, 1), 0.15, 0, ""},
	} {
		t.Logf("%s: simulated %.1f, theory %.1f, published %.1f (%s)", tc.name, tc.simulated, tc.theory, tc.published, tc.publishedSay)
		if math.Abs(tc.simulated/tc.theory-1) > tc.within {
			t.Errorf("%s: simulated %.1f, theory %.1f", tc.name, tc.simulated, tc.theory)
		}
		if tc.published != 0 && math.Abs(tc.theory/tc.published-1) > 0.08 {
			t.Errorf("%s: theory %.1f, published %.1f", tc.name, tc.theory, tc.published)
		}
	}
}

// readBy makes readings of a steady truth on a gauge.
func readBy(noise, step float64) func(*rand.Rand, int) []float64 {
	return func(random *rand.Rand, n int) []float64 {
		truth := 8 + step*random.Float64()
		values := make([]float64, n)
		for i := range values {
			values[i] = math.Round((truth+noise*random.NormFloat64())/step) * step
		}
		return values
	}
}

// selfStarting is the chart as Summarise runs it.
func selfStarting(step float64) func([]float64) *trend.Signal {
	return func(values []float64) *trend.Signal {
		return trend.CUSUM{K: trend.SlackSigmas, H: trend.DecisionSigmas}.Run(trend.Scores(values, step/2)).First
	}
}

func selfStartingEWMA(step float64) func([]float64) *trend.Signal {
	return func(values []float64) *trend.Signal {
		return trend.RecommendedEWMA().Run(trend.Scores(values, step/2)).First
	}
}

// settings are the rows of DESIGN.md: what is read, by which chart, how rare false alarms are.
var settings = map[string]func() float64{
	"pressure, CUSUM":  func() float64 { return runLength(2000, readBy(0.06, 0.1), selfStarting(0.1)) },
	"pressure, EWMA":   func() float64 { return runLength(2000, readBy(0.06, 0.1), selfStartingEWMA(0.1)) },
	"coolant, CUSUM":   func() float64 { return runLength(2000, readBy(0.02, 0.05), selfStarting(0.05)) },
	"coolant, EWMA":    func() float64 { return runLength(2000, readBy(0.02, 0.05), selfStartingEWMA(0.05)) },
	"oil level, CUSUM": func() float64 { return runLength(2000, readBy(0.1, 0.1), selfStarting(0.1)) },
	"oil use, CUSUM":   func() float64 { return runLength(2000, shiftedBy(0), upperFirst(trend.UseSlack, trend.UseDecision)) },
}

// DESIGN.md prints these figures for people; they must stay those of the simulation.
func TestRunLength_DesignSaysWhatTheSimulationGives(t *testing.T) {
	text, err := os.ReadFile("DESIGN.md")
	if err != nil {
		t.Fatal(err)
	}
	for name, simulate := range settings {
		got := simulate()
		t.Logf("%s: one false alarm in %.0f readings", name, got)
		row := regexp.MustCompile(`(?m)^\| ` + regexp.QuoteMeta(name) + ` \|.*\| (\d+) \|$`).FindSubmatch(text)
		if row == nil {
			t.Errorf("DESIGN.md has no row for %s", name)
			continue
		}
		said, err := strconv.ParseFloat(string(row[1]), 64)
		if err != nil || math.Abs(said/got-1) > 0.05 {
			t.Errorf("%s: DESIGN.md says %s, simulated %.0f", name, row[1], got)
		}
	}
}

// The approximation that makes normal scores of Student's t is held to the distribution.
func TestScores_AreNormalScoresOfStudentsT(t *testing.T) {
	for _, before := range []int{4, 8, 20, 60} {
		for _, x := range []float64{-3, -1, -0.2, 0.5, 2, 4} {
			values := make([]float64, before+1)
			for i := range before { // mean 0, standard deviation 1
				values[i] = math.Sqrt(float64(before-1) / float64(before))
				if i%2 == 1 {
					values[i] = -values[i]
				}
			}
			values[before] = x
			student := distuv.StudentsT{Sigma: 1, Nu: float64(before - 1)}
			want := distuv.UnitNormal.Quantile(student.CDF(x * math.Sqrt(float64(before)/float64(before+1))))
			if got := trend.Scores(values, 0)[before]; math.Abs(got-want) > 0.03 {
				t.Errorf("%v after %d values scores %.4f, Student's t says %.4f", x, before, got, want)
			}
		}
	}
}
