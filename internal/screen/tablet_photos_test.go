package screen

import (
	"io"
	"net/http"
	"strings"
	"testing"

	"bayround/internal/round"

	"github.com/chromedp/chromedp"
)

func TestPhoto_IsShownToTheTabletAlone(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), defaultLimits())
	sum := strings.Repeat("ab12", 16)
	answer := get(t, k.inside.URL+"/photo/"+sum, nil)
	content, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != http.StatusOK || answer.Header.Get("Content-Type") != "image/png" || !strings.HasPrefix(string(content), "\x89PNG") {
		t.Errorf("%d, %s, %v", answer.StatusCode, answer.Header.Get("Content-Type"), err)
	}
	if got := answer.Header.Get("Cache-Control"); got != "private, max-age=31536000, immutable" {
		t.Errorf("to be kept as %q", got)
	}
	for _, wrong := range []string{k.inside.URL + "/photo/ab12", k.inside.URL + "/photo/..%2f..%2fkey", k.public.URL + "/photo/" + sum} {
		if answer := get(t, wrong, nil); answer.StatusCode != http.StatusNotFound {
			t.Errorf("%s: %d", wrong, answer.StatusCode)
		}
	}
}

// Photos stand small on the step and in the overview, within the page's policy; who
// does not see them is told of which step and from when they are.
func TestTabletPage_PhotosAreShown(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	desk := newDesk(wholeBay(t))
	k := serve(t, desk, defaultLimits())
	b.do(t, chromedp.Navigate(k.inside.URL+"/"))
	const shown = `[...document.querySelectorAll("main .thumbs img")].filter(e => e.complete && e.naturalWidth > 0).map(e => e.alt)`
	for name, want := range map[string]string{"assistant-counted": "Photo 1 of Direction indicator", "overview": ", 06:42"} {
		showSample(t, b, desk, sampleViews(t)[name])
		value[bool](t, b, "document.querySelectorAll('details').forEach(d => { d.open = true; }) , document.querySelector('.thumbs').scrollIntoView(), true")
		b.until(t, "("+shown+").length > 0")
		for _, alt := range value[[]string](t, b, shown) {
			if !strings.Contains(alt, want) || !strings.HasPrefix(alt, "Photo ") {
				t.Errorf("%s: a photo is called %q", name, alt)
			}
		}
	}
	if wrong := b.complaints(); wrong != "" {
		t.Errorf("the console says: %s", wrong)
	}
}

// The photos of an answer come with its step and its time; those of an answer that
// is only being made take their place.
func TestPane_PhotosSayWhatTheyAreOf(t *testing.T) {
	v := sampleViews(t)["assistant-counted"]
	v.Round.Marks[v.Round.Current].Photos, v.Round.Marks[v.Round.Current].At = []string{"old"}, sampleNow
	p := pane{View: v}
	if got := p.StepPhotos(); len(got) != 1 || got[0].Alt != "Photo 1 of "+v.Step.GetTitle()+", not yet recorded" {
		t.Errorf("being made: %v", got)
	}
	v.Step.Entry.Photos = nil
	if got := p.StepPhotos(); len(got) != 1 || got[0] != (thumb{"old", "Photo 1 of " + v.Step.GetTitle() + ", 07:42"}) {
		t.Errorf("answered: %v", got)
	}
	if got := (pane{View: &round.View{}}).PhotosAt("x"); got != nil {
		t.Errorf("without a round: %v", got)
	}
}
