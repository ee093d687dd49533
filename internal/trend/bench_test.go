package trend_test

import (
	"testing"

	"bayround/internal/trend"
)

// fullHistory is as long a series as is looked at pair by pair.
func fullHistory(seed uint64) trend.Series { return leaking(seed, trend.MostPoints, 0.02) }

func BenchmarkSummarise(b *testing.B) {
	s := fullHistory(1)
	o := trend.Options{Resolution: 0.1, Limit: &trend.Limit{Value: 7}, Now: begins}
	b.ReportAllocs()
	for b.Loop() {
		trend.Summarise(s, o)
	}
}

func BenchmarkSummarise64(b *testing.B) {
	s := leaking(1, 64, 0.02)
	o := trend.Options{Resolution: 0.1, Limit: &trend.Limit{Value: 7}, Now: begins}
	for b.Loop() {
		trend.Summarise(s, o)
	}
}

// BenchmarkSummarise40 is a vehicle: every series it has.
func BenchmarkSummarise40(b *testing.B) {
	var all []trend.Series
	for seed := range uint64(40) {
		all = append(all, fullHistory(seed))
	}
	for b.Loop() {
		for _, s := range all {
			trend.Summarise(s, trend.Options{Resolution: 0.1})
		}
	}
}

func BenchmarkPeerLoss(b *testing.B) {
	var wheels []trend.Series
	for seed := range uint64(6) {
		wheels = append(wheels, leaking(seed, 64, 0.02))
	}
	for b.Loop() {
		trend.PeerLoss(wheels[0], wheels[1:], 0.1)
	}
}

func BenchmarkUseOf(b *testing.B) {
	s := oilHistory(1, true, 456)
	for b.Loop() {
		trend.UseOf(s, 1)
	}
}
