package screen

import (
	"bytes"
	"fmt"
	"image"
	"image/png"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	cdp "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// prefers makes the browser say that the person has set this, for instance
// "forced-colors: active"; nothing takes it all back.
func prefers(t *testing.T, b *browser, settings ...string) {
	t.Helper()
	var params emulation.SetEmulatedMediaParams
	for _, s := range settings {
		name, what, _ := strings.Cut(s, ": ")
		params.Features = append(params.Features, &emulation.MediaFeature{Name: name, Value: what})
	}
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, params); err != nil {
		t.Fatal(err)
	}
	b.drawn(t)
}

// drawn waits until what was changed before is on the glass.
func (b *browser) drawn(t *testing.T) {
	t.Helper()
	const twice = "new Promise(yes => requestAnimationFrame(() => requestAnimationFrame(() => yes(true))))"
	if _, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](twice, chromedp.EvalAwaitPromise)); err != nil {
		t.Fatal(err)
	}
}

// seenBy has everything drawn as it is seen with a deficiency of sight.
func seenBy(t *testing.T, b *browser, sight emulation.SetEmulatedVisionDeficiencyType) {
	t.Helper()
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedVisionDeficiency, emulation.SetEmulatedVisionDeficiencyParams{Type: sight}); err != nil {
		t.Fatal(err)
	}
	b.drawn(t)
}

// light is what is on the glass.
type light struct{ *image.RGBA }

// linear is a channel of a pixel without its gamma.
var linear = func() (table [256]float64) {
	for c := range table {
		table[c] = luminanceOf(uint8(c), uint8(c), uint8(c))
	}
	return table
}()

// glass is the picture that the browser draws now.
func glass(t *testing.T, b *browser) light {
	t.Helper()
	shot, err := chromedp.Call(b.ctx, cdp.CaptureScreenshot, cdp.CaptureScreenshotParams{OptimizeForSpeed: new(true)})
	if err != nil {
		t.Fatalf("taking a picture: %v", err)
	}
	picture, err := png.Decode(bytes.NewReader(shot.Data))
	if err != nil {
		t.Fatal(err)
	}
	switch p := picture.(type) {
	case *image.RGBA:
		return light{p}
	case *image.NRGBA: // the same where nothing shines through, and nothing does
		return light{&image.RGBA{Pix: p.Pix, Stride: p.Stride, Rect: p.Rect}}
	}
	t.Fatalf("a picture of the glass is a %T", picture)
	return light{}
}

// at is the relative luminance of a place; beyond the edge that of the edge.
func (l light) at(x, y int) float64 {
	last := l.Bounds().Max
	p := l.Pix[l.PixOffset(min(max(x, 0), last.X-1), min(max(y, 0), last.Y-1)):]
	return 0.2126*linear[p[0]] + 0.7152*linear[p[1]] + 0.0722*linear[p[2]]
}

// boxes are where elements are, in whole pixels.
func boxes(t *testing.T, b *browser, elements string) (found []image.Rectangle) {
	t.Helper()
	for _, r := range value[[][4]int](t, b, "("+elements+").map(e => e.getBoundingClientRect()).map(r => [r.left, r.top, r.right, r.bottom].map(Math.round))") {
		found = append(found, image.Rect(r[0], r[1], r[2], r[3]))
	}
	return found
}

// differing is the number of pixels of two equal boxes whose contrast with one
// another is at least 3:1, the least that WCAG 2.2 asks of what must be told apart
// without text (1.4.11).
func differing(a, b light, inA, inB image.Rectangle) (pixels int) {
	for y := range inA.Dy() {
		for x := range inA.Dx() {
			if contrastOf(a.at(inA.Min.X+x, inA.Min.Y+y), b.at(inB.Min.X+x, inB.Min.Y+y)) >= 3 {
				pixels++
			}
		}
	}
	return pixels
}

func area(r image.Rectangle) int { return r.Dx() * r.Dy() }

// leastApart is the share of a mark's box in which two marks must differ, or a mark
// from the ground it is on.
const leastApart = 0.12

// marksApart holds marks on the glass to differ from each other and from nothing,
// by light alone.
func marksApart(t *testing.T, b *browser, marks map[string]string) {
	t.Helper()
	var l light
	for live := false; !live; live = value[bool](t, b, "!document.body.classList.contains('notlive')") { // a slow machine takes the marks away for a moment
		b.until(t, "!document.body.classList.contains('notlive')")
		l = glass(t, b)
	}
	var names []string
	at := map[string]image.Rectangle{}
	for name, selector := range marks {
		found := boxes(t, b, fmt.Sprintf("[...document.querySelectorAll(%q)].filter(e => e.checkVisibility())", selector))
		if len(found) == 0 {
			t.Fatalf("no %s is shown", name)
		}
		names, at[name] = append(names, name), found[0]
	}
	slices.Sort(names)
	for i, name := range names {
		box := at[name]
		beside := box.Sub(image.Pt(box.Dx()+2, 0)) // the ground that it is on
		if share := float64(differing(l, l, box, beside)) / float64(area(box)); share < leastApart {
			t.Errorf("%s differs from the ground in %.2f of its box", name, share)
		}
		for _, other := range names[:i] {
			size := image.Pt(min(box.Dx(), at[other].Dx()), min(box.Dy(), at[other].Dy()))
			pixels := differing(l, l, image.Rectangle{box.Min, box.Min.Add(size)}, image.Rectangle{at[other].Min, at[other].Min.Add(size)})
			if share := float64(pixels) / float64(size.X*size.Y); share < leastApart {
				t.Errorf("%s and %s differ in %.2f of their box", name, other, share)
			}
		}
	}
}

var rowMarks = map[string]string{
	"fit": ".row .mark-fit", "restricted": ".row .mark-restricted", "move only": ".row .mark-move", "unfit": ".row .mark-unfit", "unproven": ".row .mark-unproven",
}

var sights = [...]emulation.SetEmulatedVisionDeficiencyType{
	emulation.SetEmulatedVisionDeficiencyTypeNone, emulation.SetEmulatedVisionDeficiencyTypeAchromatopsia, emulation.SetEmulatedVisionDeficiencyTypeDeuteranopia,
	emulation.SetEmulatedVisionDeficiencyTypeProtanopia, emulation.SetEmulatedVisionDeficiencyTypeTritanopia,
}

// The five verdicts on the glass, as whoever sees no colour, or few, sees them, by
// day and by night, and in the colours that a person forces on the page.
func TestMarks_AreToldApartOnTheGlass(t *testing.T) {
	b := openBrowser(t, 1920, 1080)
	k := serve(t, newDesk(wholeBay(t)), defaultLimits())
	b.do(t, chromedp.Navigate(k.public.URL+"/bay"))
	b.until(t, "!document.body.classList.contains('notlive')")
	for _, theme := range []string{"light", "dark"} {
		prefers(t, b, "prefers-color-scheme: "+theme)
		for _, sight := range sights {
			t.Run(theme+"/"+sight.String(), func(t *testing.T) {
				seenBy(t, b, sight)
				marksApart(t, b, rowMarks)
			})
		}
		seenBy(t, b, emulation.SetEmulatedVisionDeficiencyTypeNone)
		t.Run(theme+"/forced", func(t *testing.T) {
			prefers(t, b, "prefers-color-scheme: "+theme, "forced-colors: active")
			b.shoot(t, "bay-forced-"+theme)
			marksApart(t, b, rowMarks)
		})
	}
}

// What was chosen is seen without colour: by a ring that stands out from the ground
// of its tile.
func TestTabletPage_WhatIsChosenIsSeenWithoutColour(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	for _, theme := range []string{"light", "dark"} {
		for _, forced := range []string{"none", "active"} {
			prefers(t, b, "prefers-color-scheme: "+theme, "forced-colors: "+forced)
			seenBy(t, b, emulation.SetEmulatedVisionDeficiencyTypeAchromatopsia)
			tiles := 0
			desk := newDesk(wholeBay(t))
			k := serve(t, desk, defaultLimits())
			b.do(t, chromedp.Navigate(k.inside.URL+"/"))
			for _, name := range []string{"condition-fault", "level-dipstick", "assistant-counted", "before-warm"} {
				t.Run(theme+"/forced-"+forced+"/"+name, func(t *testing.T) {
					showSample(t, b, desk, sampleViews(t)[name])
					const chosen = `[...document.querySelectorAll("button[aria-pressed='true']")].filter(e => e.checkVisibility())`
					at := boxes(t, b, chosen)
					tiles += len(at)
					with := glass(t, b)
					value[bool](t, b, "("+chosen+").forEach(e => e.setAttribute('aria-pressed', 'false')) || true")
					without := glass(t, b)
					for _, box := range at {
						if share := float64(differing(with, without, box, box)) / float64(area(box)); share < 0.05 {
							t.Errorf("the tile at %v differs in %.3f", box, share)
						}
					}
				})
			}
			if tiles < 4 {
				t.Errorf("only %d chosen tiles were seen", tiles)
			}
		}
	}
}

// The ring of the focus changes as many pixels as a line of two pixels round the
// control has, at least, and each of them by 3:1 (the measure of WCAG 2.2, 2.4.13).
func TestTabletPage_TheFocusIsSeenWithoutColour(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	const focused = `[document.activeElement].map(e => e.type === "radio" ? e.nextElementSibling : e)`
	for _, setting := range []string{"prefers-color-scheme: light", "prefers-color-scheme: dark", "forced-colors: active"} {
		prefers(t, b, setting)
		seenBy(t, b, emulation.SetEmulatedVisionDeficiencyTypeAchromatopsia)
		desk := newDesk(wholeBay(t))
		k := serve(t, desk, defaultLimits())
		b.do(t, chromedp.Navigate(k.inside.URL+"/"))
		for _, name := range []string{"condition-fault", "sign-in"} {
			t.Run(setting+"/"+name, func(t *testing.T) {
				showSample(t, b, desk, sampleViews(t)[name])
				value[bool](t, b, "document.activeElement.blur() || true")
				before, met := glass(t, b), 0
				for range 60 {
					b.do(t, chromedp.KeyEvent(kb.Tab))
					if value[string](t, b, "document.activeElement.id") == "do-turnout" && met > 0 {
						break
					}
					if value[bool](t, b, "document.activeElement.matches('body, .spot, .body')") {
						continue // places of the plan are rings on a drawing: looked at below
					}
					met++
					box := boxes(t, b, focused)[0]
					around := box.Inset(-9)
					least := 2 * 2 * (box.Dx() + box.Dy())
					if got := differing(before, glass(t, b), around, around); got < least {
						t.Errorf("%s: the focus changes %d pixels, want %d", value[string](t, b, "document.activeElement.outerHTML.slice(0, 90)"), got, least)
					}
				}
				if met < 8 {
					t.Errorf("only %d controls had the focus", met)
				}
			})
		}
	}
}
