package ground_test

import (
	"testing"

	"bayround/internal/plan/ground"
)

// With a ladder over the front and a bonnet to one side.
var overhung = append([]ground.Point{{X: 2.6, Y: 0.3}, {X: 2.6, Y: -0.3}, {X: -3, Y: 1.6}, {X: -3.6, Y: 1.6}}, box...)

func BenchmarkNewOutline(b *testing.B) {
	for b.Loop() {
		outline(b, overhung, 0.6)
	}
}

func BenchmarkStand(b *testing.B) {
	o := outline(b, overhung, 0.6)
	for b.Loop() {
		o.Stand(ground.Point{X: -4.3, Y: -1.1})
	}
}

func BenchmarkDistance(b *testing.B) {
	o := outline(b, overhung, 0.6)
	for b.Loop() {
		o.Distance(3, 17)
	}
}

func BenchmarkWay(b *testing.B) {
	o := outline(b, overhung, 0.6)
	for b.Loop() {
		o.Way(3, 14)
	}
}

func BenchmarkBetween(b *testing.B) {
	o := outline(b, overhung, 0.6)
	for b.Loop() {
		o.Between(ground.Point{X: 1, Y: 3}, ground.Point{X: -5, Y: -2})
	}
}
