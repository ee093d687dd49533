package main

import (
	"path/filepath"
	"testing"

	pb "bayround/proto/bayround/v1"
)

// county is the folder of the invented county that the demonstration uses.
func county(t *testing.T) string {
	t.Helper()
	return filepath.Join("..", "testdata", "demo")
}

// round is a round file of the demonstration.
func round(t *testing.T, name string) string {
	t.Helper()
	return filepath.Join(county(t), roundsFolder, name)
}

// filled is a station that knows the county.
func filled(t *testing.T) *served {
	t.Helper()
	return serving(t, ofCounty.copy(t))
}

func verdictNumber(v int) pb.Verdict { return pb.Verdict(v) } //nolint:gosec // 1 to 5
