package screen

import (
	"math"
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
	linear := func(channel uint64) float64 {
		c := float64(channel&0xff) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(n>>16) + 0.7152*linear(n>>8) + 0.0722*linear(n)
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	light, dark := luminance(t, a), luminance(t, b)
	if light < dark {
		light, dark = dark, light
	}
	return (light + 0.05) / (dark + 0.05)
}

func TestContrast_IsThatOfWCAG(t *testing.T) {
	for _, tc := range []struct {
		source, a, b string
		want, within float64
	}{
		{"WCAG 2.2, contrast ratio: ranges from 1:1 …", "#ffffff", "#fff", 1, 1e-9},
		{"… to 21:1", "#000000", "#ffffff", 21, 1e-9},
		{"Understanding 1.4.3: #777777 on white is 4.48:1, just too little", "#777777", "#ffffff", 4.48, 0.005},
		{"WCAG techniques: #767676 is the lightest grey that passes on white, 4.54:1", "#767676", "#ffffff", 4.54, 0.005},
		{"by the definition: pure red, 1.05 / (0.2126 + 0.05)", "#ff0000", "#ffffff", 1.05 / 0.2626, 1e-9},
		{"by the definition: pure blue, 1.05 / (0.0722 + 0.05)", "#00f", "#fff", 1.05 / 0.1222, 1e-9},
	} {
		if got := contrast(t, tc.a, tc.b); math.Abs(got-tc.want) > tc.within {
			t.Errorf("%s: %.3f, want %.3f", tc.source, got, tc.want)
		}
	}
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
