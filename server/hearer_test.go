package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync"
	"testing"

	cloudevents "github.com/cloudevents/sdk-go/v2"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"bayround/internal/notice"
)

// heard is one event, as a receiver has read it.
type heard struct {
	id, kind string
	content  string // the data as it came
	data     notice.Notice
}

// hearer is the receiver of the CloudEvents Go SDK on a real socket. What comes to it
// is checked with the Standard Webhooks Go library first.
type hearer struct {
	*httptest.Server
	t    *testing.T
	more chan struct{} // holds one: something came

	mu        sync.Mutex
	all       []heard // guarded by mu: in the order in which they came
	meanwhile func()  // guarded by mu: done before the next event is answered, once; nil for nothing
}

func hear(t *testing.T) *hearer {
	t.Helper()
	h := &hearer{t: t, more: make(chan struct{}, 1)}
	protocol, err := cloudevents.NewHTTP()
	if err != nil {
		t.Fatal(err)
	}
	events, err := cloudevents.NewHTTPReceiveHandler(t.Context(), protocol, h.take)
	if err != nil {
		t.Fatal(err)
	}
	hook, err := standardwebhooks.NewWebhook(secretOfTheText)
	if err != nil {
		t.Fatal(err)
	}
	h.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			return // the sender was killed while it sent
		}
		if err := hook.Verify(body, r.Header); err != nil {
			t.Errorf("an event with a signature that is not taken: %v", err)
		}
		r.Body = io.NopCloser(bytes.NewReader(body))
		events.ServeHTTP(w, r)
	}))
	t.Cleanup(h.Close)
	return h
}

// take takes an event.
func (h *hearer) take(_ context.Context, e cloudevents.Event) {
	one := heard{id: e.ID(), kind: e.Type(), content: string(e.Data())}
	if err := json.Unmarshal(e.Data(), &one.data); err != nil {
		h.t.Errorf("data that nobody can read: %v", err)
	}
	h.mu.Lock()
	h.all = append(h.all, one)
	meanwhile := h.meanwhile
	h.meanwhile = nil
	h.mu.Unlock()
	if meanwhile != nil {
		meanwhile()
	}
	select {
	case h.more <- struct{}{}:
	default:
	}
}

// before does something before the next event is answered.
func (h *hearer) before(answer func()) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.meanwhile = answer
}

// until waits until enough was heard, and returns all of it.
func (h *hearer) until(enough func([]heard) bool) []heard {
	h.t.Helper()
	for {
		h.mu.Lock()
		all := slices.Clone(h.all)
		h.mu.Unlock()
		if enough(all) {
			return all
		}
		select {
		case <-h.more:
		case <-h.t.Context().Done():
			h.t.Fatal("it was never told")
		}
	}
}

// more than so many were heard.
func moreThan(n int) func([]heard) bool { return func(all []heard) bool { return len(all) > n } }

// aboutDefect tells that a defect was told of in a kind.
func aboutDefect(name string, kind notice.Kind) func([]heard) bool {
	return func(all []heard) bool {
		return slices.ContainsFunc(all, func(one heard) bool {
			return one.data.Kind == kind && one.data.Defect != nil && one.data.Defect.Name == name
		})
	}
}
