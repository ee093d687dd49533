package photo_test

import (
	"image"
	"image/color"
	"os"
	"path/filepath"
	"testing"
	"time"

	"bayround/internal/photo"
)

func TestSweep_RemovesWhatNothingNames(t *testing.T) {
	dir := t.TempDir()
	s := open(t, photo.Options{Dir: dir})
	longAgo := time.Now().AddDate(-2, 0, 0)
	sums := map[string]string{}
	for i, what := range []string{"named and old", "named", "dropped", "old", "new"} {
		picture := image.NewRGBA(image.Rect(0, 0, 8, 8))
		picture.SetRGBA(i, 0, color.RGBA{255, 0, 0, 255})
		sum, err := s.Put(jpegOf(t, picture))
		if err != nil {
			t.Fatal(err)
		}
		sums[what] = sum
	}
	for _, old := range []string{"named and old", "old"} {
		if err := os.Chtimes(filepath.Join(dir, sums[old][:2], sums[old]), longAgo, longAgo); err != nil {
			t.Fatal(err)
		}
	}
	removed, err := s.Sweep(
		func(sum string) bool { return sum == sums["named and old"] || sum == sums["named"] },
		func(sum string) bool { return sum == sums["dropped"] }, time.Now().AddDate(-1, 0, 0))
	if err != nil || removed != 2 {
		t.Errorf("%d removed, %v", removed, err)
	}
	for what, want := range map[string]bool{"named and old": true, "named": true, "dropped": false, "old": false, "new": true} {
		if s.Has(sums[what]) != want {
			t.Errorf("%s is there: %v", what, !want)
		}
	}
}
