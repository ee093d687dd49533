package notify_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"

	cloudevents "github.com/cloudevents/sdk-go/v2"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"bayround/internal/notice"
	"bayround/internal/notify"
	"bayround/internal/stationtest"
)

// key signs in the tests.
var key = bytes.Repeat([]byte("k"), 32)

const (
	p1, p2 = "vehicles/p1", "vehicles/p2"
	shift  = "routines/shift"
	weekly = "routines/weekly"
	screen = "GLA-010/windscreen"
)

// got is one request, as the receiver has read it.
type got struct {
	event *cloudevents.Event
	data  notice.Notice
	at    string // webhook-timestamp
}

// receiver is a receiver on a real socket. It reads events with the CloudEvents Go
// SDK and checks their signatures with the Standard Webhooks Go library.
type receiver struct {
	*httptest.Server
	t *testing.T

	mu     sync.Mutex
	all    []got                       // guarded by mu: every request, also those that were refused
	taken  []got                       // guarded by mu: those that were answered with 204
	answer []func(http.ResponseWriter) // guarded by mu: to the next requests; when there is none, 204
	poison func(got) int               // guarded by mu: the code to answer, 0 for 204, 1 to hang up; nil for always 204
	more   chan struct{}               // holds one: something came
}

func receive(t *testing.T, answers ...func(http.ResponseWriter)) *receiver {
	t.Helper()
	r := &receiver{t: t, answer: answers, more: make(chan struct{}, 1)}
	r.Server = httptest.NewServer(r)
	t.Cleanup(r.Close)
	return r
}

// ServeHTTP takes a request.
func (r *receiver) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	one, err := r.read(req)
	if err != nil {
		r.t.Errorf("a request that a receiver cannot use: %v", err)
	}
	r.mu.Lock()
	answer := func(w http.ResponseWriter) { w.WriteHeader(http.StatusNoContent) }
	r.all = append(r.all, one)
	code := 0
	if r.poison != nil {
		code = r.poison(one)
	}
	switch {
	case len(r.answer) > 0:
		answer, r.answer = r.answer[0], r.answer[1:]
	case code == 1:
		answer = hangUp
	case code > 0:
		answer = answers(code, "")
	default:
		r.taken = append(r.taken, one)
	}
	r.mu.Unlock()
	answer(w)
	select {
	case r.more <- struct{}{}:
	default:
	}
}

func (r *receiver) read(req *http.Request) (one got, err error) {
	body, err := io.ReadAll(req.Body)
	if err != nil {
		return one, err
	}
	hook, err := standardwebhooks.NewWebhookRaw(key)
	if err != nil {
		return one, err
	}
	if err := hook.VerifyIgnoringTimestamp(body, req.Header); err != nil { // the sender's clock is the test's
		return one, err
	}
	one.at = req.Header.Get(standardwebhooks.HeaderWebhookTimestamp)
	req.Body = io.NopCloser(bytes.NewReader(body))
	if one.event, err = cloudevents.NewEventFromHTTPRequest(req); err != nil {
		return one, err
	}
	if one.event.ID() != req.Header.Get(standardwebhooks.HeaderWebhookID) {
		r.t.Errorf("the event is %s, what was signed %s", one.event.ID(), req.Header.Get(standardwebhooks.HeaderWebhookID))
	}
	if err := one.event.Validate(); err != nil {
		return one, err
	}
	return one, json.Unmarshal(one.event.Data(), &one.data)
}

// refuses changes what the receiver makes of events.
func (r *receiver) refuses(poison func(got) int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.poison = poison
}

// until waits until the receiver has seen enough.
func (r *receiver) until(enough func(all, taken []got) bool) (all, taken []got) {
	r.t.Helper()
	for {
		r.mu.Lock()
		all, taken = slices.Clone(r.all), slices.Clone(r.taken)
		r.mu.Unlock()
		if enough(all, taken) {
			return all, taken
		}
		select {
		case <-r.more:
		case <-r.t.Context().Done():
			r.t.Fatal("it never came")
		}
	}
}

// told waits for so many notices that were taken.
func (r *receiver) told(n int) []got {
	r.t.Helper()
	_, taken := r.until(func(_, taken []got) bool { return len(taken) >= n })
	return taken
}

// ids of events, in order.
func ids(of []got) (all []string) {
	for _, g := range of {
		all = append(all, g.event.ID())
	}
	return all
}

// waits is a way of waiting that takes no time and notes how long it was to be.
type waits struct {
	mu    sync.Mutex
	clock *stationtest.Clock
	all   []time.Duration // guarded by mu
}

func (w *waits) noted() []time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.Clone(w.all)
}

// to makes a subscription of a receiver.
func to(t *testing.T, address string, f notice.Filter) notify.Subscription {
	t.Helper()
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	return notify.Subscription{Name: "control", URL: u, Secrets: [][]byte{key}, Filter: f, Mode: notice.Structured}
}

// tells tells a subscription by the kit's clock, and ends with the test.
func tells(t *testing.T, k *stationtest.Kit, s notify.Subscription) (*notify.Notifier, *waits) {
	t.Helper()
	w := &waits{clock: k.Clock}
	n, err := notify.Open(k.Station, notify.Options{
		Data: k.Dir(), Subscriptions: []notify.Subscription{s}, Now: k.Clock.Now, Wait: w.wait,
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(n.Close)
	return n, w
}

// wait lets the clock jump.
func (w *waits) wait(ctx context.Context, d time.Duration) {
	if ctx.Err() != nil {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.all = append(w.all, d)
	w.clock.Advance(d)
}

// kept waits until a first place is kept: how every vehicle stands was told.
func kept(t *testing.T, n *notify.Notifier) {
	t.Helper()
	for n.States()[0].Written.IsZero() {
		if t.Context().Err() != nil {
			t.Fatal("it was never kept")
		}
		runtime.Gosched()
	}
}
