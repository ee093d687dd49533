package access

import (
	"crypto/rand"
	"testing"
)

// BenchmarkGuess is one guess at a PIN by somebody who has its hash and is not held up
// by anything; docs/threat-model.md says what follows from it.
func BenchmarkGuess(b *testing.B) {
	hash, err := Hash("240681", rand.Reader)
	if err != nil {
		b.Fatal(err)
	}
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			if same, err := matches("240682", hash); same || err != nil {
				b.Errorf("%v, %v", same, err)
			}
		}
	})
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "guesses/s")
}
