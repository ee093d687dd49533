package screen

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// onPaper is the text of a PDF in the order in which it was painted, with single blanks, as
// Poppler's pdftotext reads it.
func onPaper(t *testing.T, pdf []byte) string {
	t.Helper()
	reader, err := exec.LookPath("pdftotext")
	if err != nil {
		if set := os.Getenv("CI"); set != "" && set != "false" {
			t.Fatal("pdftotext is missing (package poppler-utils)")
		}
		t.Skip("skipped: needs pdftotext")
	}
	file := filepath.Join(t.TempDir(), "round.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	text, err := exec.CommandContext(t.Context(), reader, "-raw", "-enc", "UTF-8", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(strings.Fields(string(text)), " ")
}

// comparePaper holds what is printed of longRecord against what was recorded: each reading
// in one row with its limit, what was found with its source and what became of it, where
// nothing was found, what nobody looked at, cautions and signatures; each once, in order.
func comparePaper(t *testing.T, paper string) {
	t.Helper()
	want := []string{
		"WN21: record of a round", "Driver Oleta Fennigar (fennigar)",
		"Far below the placard.", "Grade major.", "To do Inflate it and read it again.", "Source House rules, 4.2 (the service's own decision); rule low of packs/p version 3 Record at the answer of event 9",
		"Repaired by steddow", "valve renewed",
		"Round the vehicle Something was found at 1 of 59 steps; no defect found at the other 58. Not looked at: 1.",
		"Not checked", "place 20 of the sixty that this long vehicle has", "it snowed in",
		"Every answer",
	}
	for n := range 60 {
		row := fmt.Sprintf("%d Tyre pressure, place %d of the sixty that this long vehicle has %v bar, with G-11 Placard pressure 8.5 bar; outer and inner within 0.35 bar of each other.", n+2, n, readingOf(n))
		switch n {
		case 7:
			row += " FOUND: MAJOR"
		case notLookedAt:
			row = fmt.Sprintf("%d Tyre pressure, place %d of the sixty that this long vehicle has not checked: could not be reached or seen; note: it snowed in Placard pressure 8.5 bar; outer and inner within 0.35 bar of each other. NOT CHECKED", n+2, n)
		default:
			row += " No defect found"
		}
		want = append(want, row)
	}
	want = append(want, "the next watch reads the spare", "Cautions that stood with these steps", "Stand beside the wheel.",
		"Oleta Fennigar (fennigar), as driver,", "on tablet-1, known by a PIN: fits what is on record.", "Officer in charge, name and time", "62 events, numbers 1 to 62")
	rest := paper
	for _, words := range want {
		_, after, found := strings.Cut(rest, words)
		if !found {
			t.Errorf("%q is not printed, or not in its place", words)
			continue
		}
		rest = after
	}
	if n := strings.Count(paper, "with G-11"); n != 59 {
		t.Errorf("%d readings are printed, 59 were recorded", n)
	}
}
