package screen

import (
	"bytes"
	"context"
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"bayround/internal/fault"

	"github.com/gorilla/websocket"
)

func text(t *testing.T, answer *http.Response) string {
	t.Helper()
	content, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(content)
}

// post sends a form as a browser without the script does.
func post(t *testing.T, address, kind string, body io.Reader, change func(http.Header)) *http.Response {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, address, body)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", kind)
	if change != nil {
		change(r.Header)
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	answer, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = answer.Body.Close() })
	return answer
}

func postAct(t *testing.T, k *kit, values url.Values, change func(http.Header)) *http.Response {
	t.Helper()
	return post(t, k.inside.URL+"/act", "application/x-www-form-urlencoded", strings.NewReader(values.Encode()), change)
}

func TestPages_CarryThePolicy(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	want := map[string]string{
		"Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
			"base-uri 'none'; form-action 'self'; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types bayround",
		"X-Content-Type-Options":     "nosniff",
		"Referrer-Policy":            "no-referrer",
		"Cross-Origin-Opener-Policy": "same-origin",
	}
	for _, path := range []string{"/", "/bay", "/bay/setup", "/display.css", "/healthz", "/static/0/x", "/nothing"} {
		for _, server := range []*httptest.Server{k.inside, k.public} {
			answer := get(t, server.URL+path, nil)
			for name, value := range want {
				if got := answer.Header.Get(name); got != value {
					t.Errorf("%s: %s is %q", path, name, got)
				}
			}
		}
	}
}

// No page asks for anything that this program does not serve itself, and none holds
// script or style of its own, which the policy would refuse.
func TestPages_LoadOnlyWhatIsServedHere(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	for _, path := range []string{"/", "/bay", "/bay/setup?theme=night"} {
		page := text(t, get(t, k.inside.URL+path, nil))
		for _, banned := range []string{"http://", "https://", "<style", " style=", "javascript:", " onclick", "<script>"} {
			if strings.Contains(page, banned) {
				t.Errorf("%s holds %q", path, banned)
			}
		}
		var addresses int
		for _, part := range strings.FieldsFunc(page, func(c rune) bool { return c == '"' }) {
			if strings.HasPrefix(part, "/static/") || strings.HasPrefix(part, "/display.css") {
				addresses++
				answer := get(t, k.inside.URL+strings.ReplaceAll(part, "&amp;", "&"), nil)
				if answer.StatusCode != http.StatusOK {
					t.Errorf("%s: %s is answered %s", path, part, answer.Status)
				}
				if caches := answer.Header.Get("Cache-Control"); strings.HasPrefix(part, "/static/") && !strings.Contains(caches, "immutable") {
					t.Errorf("%s may be kept: %q", part, caches)
				}
			}
		}
		if addresses < 3 {
			t.Errorf("%s loads %d files", path, addresses)
		}
	}
}

func TestGuard_AnswersToItsNamesAlone(t *testing.T) {
	hosts := []string{"kiosk.bay", "127.0.0.1:8080", "[::1]", "localhost"}
	for _, tc := range []struct {
		host string
		want bool
	}{
		{"kiosk.bay", true},
		{"kiosk.bay:8080", true},
		{"KIOSK.bay", true},
		{"127.0.0.1:8080", true},
		{"127.0.0.1:8081", false},
		{"127.0.0.1", false},
		{"[::1]:9", true},
		{"[::1]", true},
		{"localhost", true},
		{"localhost.evil.example", false},
		{"kiosk.bay.", false},
		{"evil.example", false},
		{"", false},
		{":8080", false},
	} {
		if got := known(hosts, tc.host); got != tc.want {
			t.Errorf("%q is known: %v, want %v", tc.host, got, tc.want)
		}
	}
}

func TestGuard_AWrongHostGetsNothing(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	for _, server := range []*httptest.Server{k.inside, k.public} {
		for _, path := range []string{"/", "/bay", "/healthz", "/display.css", "/ws/bay"} {
			answer := get(t, server.URL+path, func(r *http.Request) { r.Host = "evil.example" })
			if answer.StatusCode != http.StatusMisdirectedRequest || strings.Contains(text(t, answer), "WN11") {
				t.Errorf("%s under another name is answered %s", path, answer.Status)
			}
		}
	}
}

func TestAct_ByPostDoesWhatTheSocketDoes(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	values := url.Values{"act": {"choose"}, "vehicle": {"vehicles/wn11"}, "routine": {"routines/daily"}}
	answer := postAct(t, k, values, nil)
	if answer.StatusCode != http.StatusSeeOther || answer.Header.Get("Location") != "/" {
		t.Errorf("answered %s to %s", answer.Status, answer.Header.Get("Location"))
	}
	p := k.dial(t, k.inside, "/ws/tablet")
	boot := p.next(t).Boot
	p.send(t, websocket.TextMessage, `{"id":"`+boot+`.me.1","act":"choose","values":{"vehicle":"vehicles/wn11","routine":"routines/daily"}}`)
	p.until(t, func(w wire) bool { return w.Ack == boot+".me.1" && w.Refused == "" })
	acts := k.desk.taken()
	if len(acts) != 2 {
		t.Fatalf("the desk was handed %+v", acts)
	}
	for _, act := range acts {
		if act.Name != "choose" || act.Values["vehicle"] != "vehicles/wn11" || act.Values["routine"] != "routines/daily" || len(act.Values) != 2 {
			t.Errorf("the desk was handed %+v", act)
		}
	}
}

// The answer got lost, so the page sends the act again by POST: it is not done twice.
func TestAct_SentAgainIsNotDoneAgain(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	p := k.dial(t, k.inside, "/ws/tablet")
	id := p.next(t).Boot + ".me.1"
	p.send(t, websocket.TextMessage, `{"id":"`+id+`","act":"key","values":{"key":"7"}}`)
	p.until(t, func(w wire) bool { return w.Ack == id })
	again := postAct(t, k, url.Values{"act": {"key"}, "key": {"7"}, "act-id": {id}}, nil)
	if again.StatusCode != http.StatusSeeOther {
		t.Errorf("sent again it is answered %s", again.Status)
	}
	if acts := k.desk.taken(); len(acts) != 1 {
		t.Errorf("the desk was handed %d acts", len(acts))
	}
	postAct(t, k, url.Values{"act": {"key"}, "key": {"7"}}, nil) // a second press of the same key is another act
	if acts := k.desk.taken(); len(acts) != 2 {
		t.Errorf("after a second press the desk was handed %d acts", len(acts))
	}
}

// An act that is still being carried out is waited for, not begun a second time.
func TestAct_SentAgainMeanwhileWaits(t *testing.T) {
	desk := newDesk(wholeBay(t))
	begun, goOn := make(chan struct{}), make(chan struct{})
	desk.during = func() { close(begun); <-goOn }
	k := serve(t, desk, quickLimits())
	p := k.dial(t, k.inside, "/ws/tablet")
	id := p.next(t).Boot + ".me.1"
	p.send(t, websocket.TextMessage, `{"id":"`+id+`","act":"record"}`)
	<-begun
	answered := make(chan int)
	go func() {
		form := strings.NewReader(url.Values{"act": {"record"}, "act-id": {id}}.Encode())
		client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
		answer, err := client.Post(k.inside.URL+"/act", "application/x-www-form-urlencoded", form)
		if err != nil {
			answered <- 0
			return
		}
		_ = answer.Body.Close()
		answered <- answer.StatusCode
	}()
	close(goOn)
	if status := <-answered; status != http.StatusSeeOther {
		t.Errorf("answered %d", status)
	}
	p.until(t, func(w wire) bool { return w.Ack == id })
	if acts := k.desk.taken(); len(acts) != 1 {
		t.Errorf("the desk was handed %d acts", len(acts))
	}
}

func TestAct_OfAnEarlierStartIsNotTaken(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	p := k.dial(t, k.inside, "/ws/tablet")
	p.send(t, websocket.TextMessage, `{"id":"ANOTHERBOOT1.me.1","act":"next"}`)
	w := p.until(t, func(w wire) bool { return w.Ack != "" })
	if !strings.Contains(w.Refused, "started again") {
		t.Errorf("refused with %q", w.Refused)
	}
	if acts := k.desk.taken(); len(acts) != 0 {
		t.Errorf("the desk was handed %+v", acts)
	}
}

func TestAct_TheMemoryOfIDsIsBounded(t *testing.T) {
	a := newActs(newDesk(wholeBay(t)), "b")
	for i := range 3 * mostRemembered {
		if _, first := a.begin(strings.Repeat("x", i)); !first {
			t.Fatalf("id %d is taken for an old one", i)
		}
	}
	if len(a.known) != mostRemembered || len(a.order) != mostRemembered {
		t.Errorf("%d and %d ids are remembered", len(a.known), len(a.order))
	}
	if _, first := a.begin(strings.Repeat("x", 3*mostRemembered-1)); first {
		t.Error("the newest id was forgotten")
	}
}

func TestAct_RefusalsAreSaidInWords(t *testing.T) {
	for _, tc := range []struct {
		err    error
		said   string
		status int
	}{
		{fault.New(fault.Precondition, "ENGINE_WARM", "the engine ran 12 min ago; oil is read cold"), "the engine ran 12 min ago; oil is read cold", http.StatusSeeOther},
		{errors.New("open /secret/place: no"), "The tablet could not do this; its log says why.", http.StatusInternalServerError},
		{context.DeadlineExceeded, "The tablet did not finish this in time.", http.StatusInternalServerError},
	} {
		desk := newDesk(wholeBay(t))
		desk.refuse = tc.err
		k := serve(t, desk, quickLimits())
		answer := postAct(t, k, url.Values{"act": {"record"}}, nil)
		if answer.StatusCode != tc.status || strings.Contains(text(t, answer), "secret") {
			t.Errorf("%v: answered %s", tc.err, answer.Status)
		}
		p := k.dial(t, k.inside, "/ws/tablet")
		id := p.next(t).Boot + ".me.1"
		p.send(t, websocket.TextMessage, `{"id":"`+id+`","act":"record"}`)
		if w := p.until(t, func(w wire) bool { return w.Ack == id }); !strings.HasPrefix(w.Refused, tc.said) {
			t.Errorf("%v: said %q", tc.err, w.Refused)
		}
	}
}

func TestAct_OfAnotherSiteOrOtherShapeIsRefused(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	good := url.Values{"act": {"next"}}
	for _, tc := range []struct {
		why    string
		values url.Values
		change func(http.Header)
		status int
	}{
		{"another site", good, func(h http.Header) { h.Set("Sec-Fetch-Site", "cross-site") }, http.StatusForbidden},
		{"another site, an old browser", good, func(h http.Header) { h.Set("Origin", "http://evil.example") }, http.StatusForbidden},
		{"no act", url.Values{"x": {"y"}}, nil, http.StatusBadRequest},
		{"too long", url.Values{"act": {"note"}, "text": {strings.Repeat("n", 70<<10)}}, nil, http.StatusBadRequest},
	} {
		if answer := postAct(t, k, tc.values, tc.change); answer.StatusCode != tc.status {
			t.Errorf("%s: answered %s", tc.why, answer.Status)
		}
	}
	if acts := k.desk.taken(); len(acts) != 0 {
		t.Errorf("the desk was handed %+v", acts)
	}
}

// The display's listener has the bay page and nothing that acts or shows the tablet.
func TestBayHandler_HasNoActAndNoTablet(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	for _, path := range []string{"/act", "/photo"} {
		answer := post(t, k.public.URL+path, "application/x-www-form-urlencoded", strings.NewReader("act=next"), nil)
		if answer.StatusCode != http.StatusNotFound && answer.StatusCode != http.StatusMethodNotAllowed {
			t.Errorf("POST %s is answered %s", path, answer.Status)
		}
	}
	if answer := get(t, k.public.URL+"/", nil); answer.Header.Get("Location") != "/bay" {
		t.Errorf("/ leads to %q", answer.Header.Get("Location"))
	}
	if _, answer, err := dialWith(t, k.public, "/ws/tablet", nil); err == nil || answer.StatusCode != http.StatusNotFound {
		t.Errorf("a tablet's socket is answered %v, %v", answer, err)
	}
	if acts := k.desk.taken(); len(acts) != 0 {
		t.Errorf("the desk was handed %+v", acts)
	}
}

// photoForm is a form with files.
func photoForm(t *testing.T, fields map[string][]byte) (kind string, body *bytes.Buffer) {
	t.Helper()
	body = &bytes.Buffer{}
	form := multipart.NewWriter(body)
	for name, content := range fields {
		part, err := form.CreateFormFile(name, "x.jpg")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := part.Write(content); err != nil {
			t.Fatal(err)
		}
	}
	if err := form.Close(); err != nil {
		t.Fatal(err)
	}
	return form.FormDataContentType(), body
}

func TestPhoto_IsHandedOnWholeOrNotAtAll(t *testing.T) {
	for _, tc := range []struct {
		why    string
		fields map[string][]byte
		status int
	}{
		{"a photo", map[string][]byte{"photo": []byte("\xff\xd8\xffsharp")}, http.StatusSeeOther},
		{"a photo of a step", map[string][]byte{"photo": []byte("\xff\xd8\xffsharp"), "at": []byte("TYR-010/a")}, http.StatusSeeOther},
		{"at the limit", map[string][]byte{"photo": make([]byte, largestPhoto)}, http.StatusSeeOther},
		{"a byte more", map[string][]byte{"photo": make([]byte, largestPhoto+1)}, http.StatusRequestEntityTooLarge},
		{"far more", map[string][]byte{"photo": make([]byte, largestPhoto+1<<20)}, http.StatusRequestEntityTooLarge},
		{"no photo", map[string][]byte{"act-id": []byte("a.b.c")}, http.StatusBadRequest},
		{"an empty one", map[string][]byte{"photo": nil}, http.StatusBadRequest},
		{"an id of another shape", map[string][]byte{"photo": []byte("x"), "act-id": []byte("no")}, http.StatusBadRequest},
	} {
		t.Run(tc.why, func(t *testing.T) {
			k := serve(t, newDesk(wholeBay(t)), quickLimits())
			kind, body := photoForm(t, tc.fields)
			answer := post(t, k.inside.URL+"/photo", kind, body, nil)
			if answer.StatusCode != tc.status {
				t.Fatalf("answered %s: %s", answer.Status, text(t, answer))
			}
			acts := k.desk.taken()
			if tc.status != http.StatusSeeOther {
				if len(acts) != 0 {
					t.Errorf("the desk was handed a photo of %d bytes", len(acts[0].Content))
				}
				return
			}
			if len(acts) != 1 || acts[0].Name != "photo" || !bytes.Equal(acts[0].Content, tc.fields["photo"]) {
				t.Errorf("the desk was handed %d acts", len(acts))
			}
			if at := acts[0].Values["at"]; at != string(tc.fields["at"]) {
				t.Errorf("it was handed on for step %q", at)
			}
		})
	}
}

func TestScripts_StaySmall(t *testing.T) {
	for _, name := range []string{"tablet.js", "bay.js"} {
		content, err := files.ReadFile("static/" + name)
		if err != nil {
			t.Fatal(err)
		}
		if len(content) > 12<<10 {
			t.Errorf("%s has %d bytes, 12 KiB are the most", name, len(content))
		}
	}
}

func TestNew_RefusesWhatCannotBeShown(t *testing.T) {
	for why, change := range map[string]func(*Config){
		"no desk":   func(c *Config) { c.Desk = nil },
		"no clock":  func(c *Config) { c.Clock = nil },
		"no pixels": func(c *Config) { c.Display.TabletMMPerPX = 0 },
		"no board":  func(c *Config) { c.Display.Board = Board{} },
	} {
		c := configFor(newDesk(wholeBay(t)), nil)
		c.Clock = func() time.Time { return morning }
		change(&c)
		if s, err := New(c); err == nil {
			s.Close()
			t.Errorf("%s: taken", why)
		}
	}
}
