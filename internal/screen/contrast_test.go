package screen

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// luminance is the relative luminance of a colour, as WCAG 2.2 defines it.
func luminance(t *testing.T, colour string) float64 {
	t.Helper()
	hex := strings.TrimPrefix(colour, "#")
	if len(hex) == 3 {
		hex = string([]byte{hex[0], hex[0], hex[1], hex[1], hex[2], hex[2]})
	}
	n, err := strconv.ParseUint(hex, 16, 32)
	if err != nil || len(hex) != 6 {
		t.Fatalf("%q is no colour", colour)
	}
	return luminanceOf(uint8(n>>16), uint8(n>>8), uint8(n))
}

// luminanceOf is that of a pixel.
func luminanceOf(red, green, blue uint8) float64 {
	linear := func(channel uint8) float64 {
		c := float64(channel) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(red) + 0.7152*linear(green) + 0.0722*linear(blue)
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	return contrastOf(luminance(t, a), luminance(t, b))
}

// contrastOf is the contrast ratio of two relative luminances.
func contrastOf(a, b float64) float64 { return (max(a, b) + 0.05) / (min(a, b) + 0.05) }

// The pairs of testdata/reference/contrast-ratio.csv are worked out from the formula
// of WCAG 2.2 (DERIVED); those below them are in print.
func TestContrast_IsThatOfWCAG(t *testing.T) {
	rows := referenceRows(t, "contrast-ratio.csv")
	for _, row := range rows {
		want, err := strconv.ParseFloat(row["contrast_ratio"], 64)
		if err != nil {
			t.Fatal(err)
		}
		if got := contrast(t, row["colour_1"], row["colour_2"]); math.Abs(got-want) > 5e-7 { // six figures after the point
			t.Errorf("%s on %s: %.6f, want %v", row["colour_1"], row["colour_2"], got, want)
		}
		for i, colour := range []string{row["colour_1"], row["colour_2"]} {
			want, err := strconv.ParseFloat(row[fmt.Sprintf("luminance_%d", i+1)], 64)
			if err != nil {
				t.Fatal(err)
			}
			if got := luminance(t, colour); math.Abs(got-want) > 5e-11 {
				t.Errorf("%s: luminance %.10f, want %v", colour, got, want)
			}
		}
	}
	if len(rows) < 15 {
		t.Errorf("only %d rows", len(rows))
	}
	for _, tc := range []struct {
		source, a, b string
		want, within float64
	}{
		{"WCAG 2.2, contrast ratio: ranges from 1:1 …", "#ffffff", "#fff", 1, 1e-9},
		{"… to 21:1", "#000000", "#ffffff", 21, 1e-9},
		{"Understanding 1.4.3: #777777 on white is 4.48:1, just too little", "#777777", "#ffffff", 4.48, 0.005},
		{"WCAG techniques: #767676 is the lightest grey that passes on white, 4.54:1", "#767676", "#ffffff", 4.54, 0.005},
	} {
		if got := contrast(t, tc.a, tc.b); math.Abs(got-tc.want) > tc.within {
			t.Errorf("%s: %.3f, want %.3f", tc.source, got, tc.want)
		}
	}
}

// referenceRows reads a published table by the names of its columns.
func referenceRows(t *testing.T, name string) (rows []map[string]string) {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range all[1:] {
		row := map[string]string{}
		for i, column := range all[0] {
			row[column] = line[i]
		}
		rows = append(rows, row)
	}
	return rows
}

var (
	colourRule  = regexp.MustCompile(`--([a-z-]+):\s*(#[0-9a-f]{3,6})`)
	pairRule    = regexp.MustCompile(`contrast ([a-z-]+) on ([a-z-]+) ([0-9.]+)`)
	paletteRule = regexp.MustCompile(`(?s)(:root[^{]*)\{([^}]*)\}`)
	anyColour   = regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b|\b(?:rgb|hsl|hwb|oklch)a?\(`)
)

// palettes are the blocks of a style sheet that give colours their names.
func palettes(css string) (found []map[string]string) {
	for _, block := range paletteRule.FindAllStringSubmatch(css, -1) {
		colours := map[string]string{}
		for _, c := range colourRule.FindAllStringSubmatch(block[2], -1) {
			colours[c[1]] = c[2]
		}
		if len(colours) > 0 {
			found = append(found, colours)
		}
	}
	return found
}

// Each pair that a style sheet says it lays on one another has its contrast in each
// palette, and no colour stands outside the palettes.
func TestStyles_EveryColourPairHasItsContrast(t *testing.T) {
	for _, name := range []string{"bay.css", "tablet.css"} {
		content, err := files.ReadFile("static/" + name)
		if err != nil {
			t.Fatal(err)
		}
		css := string(content)
		pairs := pairRule.FindAllStringSubmatch(css, -1)
		themes := palettes(css)
		if len(pairs) < 8 || len(themes) < 3 {
			t.Fatalf("%s: %d pairs in %d palettes were found", name, len(pairs), len(themes))
		}
		for _, p := range pairs {
			want, err := strconv.ParseFloat(p[3], 64)
			if err != nil {
				t.Fatal(err)
			}
			for i, colours := range themes {
				over, under := colours[p[1]], colours[p[2]]
				if over == "" || under == "" {
					t.Errorf("%s: palette %d lacks %s or %s", name, i, p[1], p[2])
					continue
				}
				if got := contrast(t, over, under); got < want {
					t.Errorf("%s, palette %d: %s (%s) on %s (%s) is %.2f, want %v", name, i, p[1], over, p[2], under, got, want)
				}
			}
		}
		if rest := paletteRule.ReplaceAllString(css, ""); anyColour.MatchString(rest) {
			t.Errorf("%s: a colour outside the palettes: %s", name, anyColour.FindString(rest))
		}
	}
}
