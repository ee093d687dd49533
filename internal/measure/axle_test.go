package measure_test

import (
	"math"
	"testing"

	"bayround/internal/measure"
)

// tyre-load-index.csv: at the mass that is printed, a kilogram less and one more.
func TestTyresCarry_PublishedList(t *testing.T) {
	for _, r := range rows(t, "tyre-load-index.csv", 201) {
		index, each := int(r.number(t, "load_index")), r.number(t, "max_load_kg")
		for _, tyres := range []int{2, 4} {
			together := float64(tyres) * each
			for mass, enough := range map[float64]bool{together - 1: true, together: true, together + 1: false} {
				got, known := measure.TyresCarry(index, tyres, mass)
				if !known || got.Enough() != enough || got.EachKg != each || got.TogetherKg != together {
					t.Errorf("%d tyres of load index %d under %v kg: %+v (%v), want enough %v (%s)", tyres, index, mass, got, known, enough, r["source"])
				}
				if math.Abs(got.SpareKg-(together-mass)) > 1e-9 {
					t.Errorf("%d tyres of load index %d under %v kg have %v kg to spare", tyres, index, mass, got.SpareKg)
				}
			}
		}
	}
}

func TestTyresCarry_WhatIsNotKnown(t *testing.T) {
	for why, known := range map[string]bool{
		"no such index":    carries(-1, 2, 1000),
		"beyond the list":  carries(201, 2, 1000),
		"no tyre":          carries(150, 0, 1000),
		"a negative mass":  carries(150, 2, -1),
		"no mass":          carries(150, 2, nan),
		"mass without end": carries(150, 2, inf),
	} {
		if known {
			t.Errorf("%s: an answer", why)
		}
	}
}

// carries says that TyresCarry knows an answer at all.
func carries(index, tyres int, mass float64) bool {
	got, known := measure.TyresCarry(index, tyres, mass)
	return known || got != measure.AxleLoad{}
}

func FuzzTyresCarry(f *testing.F) {
	f.Add(150, 4, 11500.0)
	f.Add(-1, math.MaxInt, nan)
	f.Add(200, math.MaxInt, math.MaxFloat64)
	f.Fuzz(func(t *testing.T, index, tyres int, mass float64) {
		got, known := measure.TyresCarry(index, tyres, mass)
		if math.IsNaN(got.SpareKg) || math.IsInf(got.SpareKg, 0) || !(got.TogetherKg >= got.EachKg) {
			t.Fatalf("%+v", got)
		}
		if known && got.Enough() != (mass <= got.TogetherKg) {
			t.Fatalf("%+v under %v kg", got, mass)
		}
	})
}
