package measure_test

import (
	"math"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

func TestLevels(t *testing.T) {
	for _, tc := range []struct {
		level, between, toUpper float64
	}{
		{0, 4, 4}, {0.25, 4, 3}, {1, 4, 0}, {0.5, 1.5, 0.75},
	} {
		got, known := measure.LitresToUpper(tc.level, tc.between)
		if !known || got != tc.toUpper {
			t.Errorf("%v of %v l: %v l to the mark (%v), want %v", tc.level, tc.between, got, known, tc.toUpper)
		}
		if after, known := measure.LevelAfter(tc.level, tc.toUpper, tc.between); !known || after != 1 {
			t.Errorf("%v l into %v of %v l: %v (%v), want the upper mark", tc.toUpper, tc.level, tc.between, after, known)
		}
	}
	// In binary the missing 89 % of 11 l fill a little more than 89 % of 11 l.
	if missing, _ := measure.LitresToUpper(0.11, 11); missing/11+0.11 <= 1 {
		t.Errorf("%v l no longer overfill by rounding; find another case", missing)
	} else if after, known := measure.LevelAfter(0.11, missing, 11); !known || after != 1 {
		t.Errorf("filled up to the mark: %v (%v), want the mark", after, known)
	}
	if after, known := measure.LevelAfter(0.75, 2, 4); !known || after != 1.25 {
		t.Errorf("2 l into three quarters of 4 l: %v (%v), want overfilled by a quarter", after, known)
	}
}

// Mass balance: what was put in, less what the level rose.
func TestLitresUsed(t *testing.T) {
	for _, tc := range []struct {
		why           string
		before, after float64
		toppedUp      []float64
		want          measure.Use
	}{
		{"nothing happened", 0.7, 0.7, nil, measure.Use{}},
		{"a quarter went", 0.75, 0.5, nil, measure.Use{Litres: 1}},
		{"a litre in, and as high as before", 0.5, 0.5, []float64{1}, measure.Use{Litres: 1}},
		{"in two pours", 0.5, 0.75, []float64{1, 0.5}, measure.Use{Litres: 0.5}},
		{"all that was put in is there", 0.25, 0.75, []float64{2}, measure.Use{}},
		{"it rose by itself", 0.5, 0.75, nil, measure.Use{Unexplained: 1}},
		{"it rose by more than was put in", 0.25, 0.75, []float64{1.5}, measure.Use{Unexplained: 0.5}},
		{"rounding is neither: 0.1 + 0.2 of 4 l", 0, 0.1 + 0.2, []float64{0.4, 0.8}, measure.Use{}},
	} {
		if got, known := measure.LitresUsed(tc.before, tc.after, 4, tc.toppedUp...); !known || got != tc.want {
			t.Errorf("%s: %+v (%v), want %+v", tc.why, got, known, tc.want)
		}
	}
}

func TestLevels_WhatIsNotKnownSaysSo(t *testing.T) {
	for _, bad := range []float64{-0.1, 1.1, nan, inf} {
		_, toUpper := measure.LitresToUpper(bad, 4)
		_, after := measure.LevelAfter(bad, 1, 4)
		_, usedFrom := measure.LitresUsed(bad, 0.5, 4)
		_, usedTo := measure.LitresUsed(0.5, bad, 4)
		if toUpper || after || usedFrom || usedTo {
			t.Errorf("a level of %v tells litres", bad)
		}
	}
	for _, bad := range []float64{0, -4, nan, inf} {
		_, toUpper := measure.LitresToUpper(0.5, bad)
		_, after := measure.LevelAfter(0.5, 1, bad)
		_, used := measure.LitresUsed(0.5, 0.5, bad)
		if toUpper || after || used {
			t.Errorf("%v l between the marks tell litres", bad)
		}
	}
	for _, bad := range []float64{-1, nan, inf} {
		_, after := measure.LevelAfter(0.5, bad, 4)
		_, used := measure.LitresUsed(0.5, 0.5, 4, 1, bad)
		if after || used {
			t.Errorf("a pour of %v l tells something", bad)
		}
	}
}

// A tank is played: what goes and what is put in is known, and comes out.
func TestLitresUsed_AgreesWithAPlayedTank(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		between := rapid.Float64Range(0.3, 400).Draw(t, "between")
		before := rapid.Float64Range(0, 1).Draw(t, "before")
		level, used := before, 0.0
		var pours []float64
		for range rapid.IntRange(0, 6).Draw(t, "days") {
			gone := rapid.Float64Range(0, level).Draw(t, "gone")
			level, used = level-gone, used+gone*between
			pour, known := measure.LitresToUpper(level, between)
			if !known {
				t.Fatalf("at %v of %v l nobody knows what to pour", level, between)
			}
			pour *= rapid.Float64Range(0, 1).Draw(t, "share")
			after, known := measure.LevelAfter(level, pour, between)
			if !known || after > 1 || after < level {
				t.Fatalf("%v l into %v of %v l: %v (%v)", pour, level, between, after, known)
			}
			level = after
			pours = append(pours, pour)
		}
		got, known := measure.LitresUsed(before, level, between, pours...)
		if !known || math.Abs(got.Litres-used) > 1e-8*between || got.Unexplained != 0 {
			t.Fatalf("%+v (%v), want %v l", got, known, used)
		}
	})
}

func FuzzLevels(f *testing.F) {
	f.Add(0.5, 0.4, 4.0, 1.0)
	f.Add(nan, inf, -1.0, 5e-324)
	f.Add(1.0, 0.0, 5e-324, math.MaxFloat64)
	f.Fuzz(func(t *testing.T, before, after, between, poured float64) {
		toUpper, _ := measure.LitresToUpper(before, between)
		level, _ := measure.LevelAfter(before, poured, between)
		use, _ := measure.LitresUsed(before, after, between, poured)
		for _, got := range []float64{toUpper, level, use.Litres, use.Unexplained} {
			if !(got >= 0) || math.IsInf(got, 1) {
				t.Fatalf("%v, %v, %+v", toUpper, level, use)
			}
		}
		if use.Litres > 0 && use.Unexplained > 0 {
			t.Fatalf("%+v both went and came", use)
		}
	})
}
