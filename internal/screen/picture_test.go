package screen

import (
	"encoding/json"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// A page that skips any frames and takes the others has, after each one it takes,
// exactly the picture's regions; and it is never sent what it already has.
func TestPicture_FramesAfterAnySeenVersionMakeThePageWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		html := rapid.SampledFrom([]string{"", "<p>a</p>", "<p>b</p>"})
		ids := []string{"far", "rows", "foot"}
		var p *picture
		page, seen := map[string]string{}, uint64(0)
		for range rapid.IntRange(1, 12).Draw(t, "pictures") {
			var regions []region
			for _, id := range ids {
				regions = append(regions, region{id, html.Draw(t, id)})
			}
			p = p.next(regions, beat{})
			if rapid.Bool().Draw(t, "skipped") {
				continue
			}
			for _, r := range p.wire(seen).Regions {
				if had, ok := page[r.ID]; ok && had == r.HTML && seen == p.version-1 {
					t.Fatalf("region %s was sent again unchanged", r.ID)
				}
				page[r.ID] = r.HTML
			}
			seen = p.version
			for _, r := range regions {
				if page[r.ID] != r.HTML {
					t.Fatalf("the page shows %q in %s, the picture %q", page[r.ID], r.ID, r.HTML)
				}
			}
		}
	})
}

func TestPicture_ABeatAloneSendsNoRegion(t *testing.T) {
	var p *picture
	regions := []region{{"far", "x"}, {"rows", "y"}}
	p = p.next(regions, beat{At: 1})
	seen := p.version
	p = p.next([]region{{"far", "x"}, {"rows", "y"}}, beat{At: 2})
	if w := p.wire(seen); w.V != seen || len(w.Regions) != 0 || w.Beat.At != 2 {
		t.Errorf("after a beat the frame is %+v", w)
	}
}

func TestPicture_SocketsThatSawTheSameShareTheBytes(t *testing.T) {
	var p *picture
	p = p.next([]region{{"far", "x"}}, beat{})
	p = p.next([]region{{"far", "y"}}, beat{})
	first, err := p.after(1)
	if err != nil {
		t.Fatal(err)
	}
	if again, _ := p.after(1); again != first {
		t.Error("the frame was made a second time")
	}
	if whole, _ := p.after(0); whole == first {
		t.Error("who saw nothing shares the frame of who saw version 1")
	}
}

func TestWire_IsJSONAndKeepsMarkupShort(t *testing.T) {
	text := `<p class="a">5 < 6 & "quoted" ` + "\u2028" + `</p>`
	frame, err := wire{V: 3, Regions: []wireRegion{{"far", text}}}.encode()
	if err != nil {
		t.Fatal(err)
	}
	var back wire
	if err := json.Unmarshal(frame, &back); err != nil || back.Regions[0].HTML != text {
		t.Errorf("the frame %s reads back as %+v, %v", frame, back, err)
	}
	if strings.Contains(string(frame), `\u003c`) {
		t.Errorf("markup is written in escapes: %s", frame)
	}
	if strings.HasSuffix(string(frame), "\n") {
		t.Error("the frame ends with an empty line")
	}
}

func TestHub_ADrawingThatFailsIsNotTakenForTheTruth(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	page := k.dial(t, k.public, "/ws/bay")
	if f := page.next(t); !f.Beat.Live || len(f.Regions) != 4 {
		t.Fatalf("the first frame is not whole and live: %+v", f.Beat)
	}
	k.desk.setBay(nil) // the drawing panics
	f := page.until(t, func(f wire) bool { return f.Beat.Fault != "" })
	if f.Beat.Live {
		t.Error("a page that could not be drawn counts as live")
	}
	k.desk.setBay(wholeBay(t))
	page.until(t, func(f wire) bool { return f.Beat.Live && f.Beat.Fault == "" })
}
