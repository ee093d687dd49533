package measure_test

import (
	"testing"

	"bayround/internal/measure"
)

func TestLoadIndexKg_PublishedList(t *testing.T) {
	for _, r := range rows(t, "tyre-load-index.csv", 201) {
		index := int(r.number(t, "load_index"))
		if got, ok := measure.LoadIndexKg(index); !ok || got != r.number(t, "max_load_kg") {
			t.Errorf("load index %d is %v kg, want %s (%s)", index, got, r["max_load_kg"], r["source"])
		}
	}
	for _, unknown := range []int{-1, 201} {
		if kg, ok := measure.LoadIndexKg(unknown); ok || kg != 0 {
			t.Errorf("load index %d is %v kg", unknown, kg)
		}
	}
}

// Each step is the same share more than the last, a tenth root of ten over
// eight steps (preferred numbers, ISO 3, series R80), rounded in print.
func TestLoadIndexKg_RisesBySteps(t *testing.T) {
	for index := 1; index <= 200; index++ {
		before, _ := measure.LoadIndexKg(index - 1)
		now, _ := measure.LoadIndexKg(index)
		if step := now / before; step < 1.015 || step > 1.045 {
			t.Errorf("from load index %d to %d the load grows %.4f times", index-1, index, step)
		}
	}
}

func TestSpeedSymbolKmh_PublishedList(t *testing.T) {
	for _, r := range rows(t, "tyre-speed-symbol.csv", 31) {
		got, ok := measure.SpeedSymbolKmh(r["symbol"])
		if r["max_speed_kmh"] == "" { // only a lower bound: no speed it is made for
			if ok {
				t.Errorf("symbol %s is %v km/h, though it names no upper bound (%s)", r["symbol"], got, r["source"])
			}
			continue
		}
		if !ok || got != r.number(t, "max_speed_kmh") {
			t.Errorf("symbol %s is %v km/h, want %s (%s)", r["symbol"], got, r["max_speed_kmh"], r["source"])
		}
	}
	if kmh, ok := measure.SpeedSymbolKmh("I"); ok {
		t.Errorf("the unused letter I is %v km/h", kmh)
	}
}
