package notice

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	cloudevents "github.com/cloudevents/sdk-go/v2"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	pb "bayround/proto/bayround/v1"
)

// received reads a message as a receiver does that uses the CloudEvents Go SDK.
func received(t *testing.T, m Message) *cloudevents.Event {
	t.Helper()
	req := httptest.NewRequest(http.MethodPost, "/", strings.NewReader(string(m.Body)))
	for name, value := range m.Header {
		req.Header.Set(name, value)
	}
	e, err := cloudevents.NewEventFromHTTPRequest(req)
	if err != nil {
		t.Fatalf("the CloudEvents SDK does not read it: %v\n%s", err, m.Body)
	}
	if err := e.Validate(); err != nil {
		t.Fatalf("by the CloudEvents SDK it is no event: %v\n%s", err, m.Body)
	}
	return e
}

// Both modes carry the same event, as the CloudEvents Go SDK (v2, CloudEvents 1.0) reads it.
func TestMessage_IsReadByTheCloudEventsSDK(t *testing.T) {
	n := Of(Change{Now: standing(noon, pb.Verdict_VERDICT_UNFIT, leak(noon)), At: noon, ID: "7-ab"})[1]
	for _, mode := range []Mode{Structured, Binary} {
		m, err := n.Message(mode, "/bayround/journals/j1")
		if err != nil {
			t.Fatal(err)
		}
		e := received(t, m)
		got := []any{m.ID, e.SpecVersion(), e.ID(), e.Source(), e.Type(), e.Subject(), e.Time().Equal(noon), e.DataContentType(), e.Extensions()["sequence"]}
		want := []any{n.ID, "1.0", "7-ab-found-leak", "/bayround/journals/j1", "bayround.v1.defect.found", "vehicles/p1", true, "application/json", "0000000000000000007"}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", mode, diff)
		}
		var data Notice
		if err := json.Unmarshal(e.Data(), &data); err != nil {
			t.Fatal(err)
		}
		data.ID, data.At = n.ID, n.At // they lie in the attributes
		if diff := cmp.Diff(n, data); diff != "" {
			t.Errorf("%s: data (-sent +read):\n%s", mode, diff)
		}
		test, err := Test("t1", noon, mode)
		if err != nil {
			t.Fatal(err)
		}
		if e := received(t, test); e.Type() != "bayround.v1.test" || e.ID() != "t1" || e.Subject() != "" {
			t.Errorf("a test event: %v", e)
		}
	}
}

// However much there is to say, an event is no longer than 64 KiB, which every
// intermediary must forward (CloudEvents 1.0, "Size Limits"), and still JSON; what
// stands first stays, and what is left out is counted.
func TestMessage_IsNeverTooLong(t *testing.T) {
	text := rapid.Custom(func(t *rapid.T) string {
		return strings.Repeat(rapid.SampledFrom([]string{"a", "ü", "€", "<", "\x01", "\"", "🚒", "\xff"}).Draw(t, "letter"), rapid.IntRange(0, 9_000).Draw(t, "times"))
	})
	rapid.Check(t, func(t *rapid.T) {
		now := standing(noon, pb.Verdict_VERDICT_UNPROVEN, leak(noon, func(d *pb.Defect) { d.Findings[0].Text = text.Draw(t, "finding") }))
		steps := rapid.IntRange(0, 400).Draw(t, "steps")
		names := make([]string, steps)
		for i := range names {
			names[i] = strings.Repeat("s", 100)
		}
		unproven(now, pb.UnprovenCause_UNPROVEN_CAUSE_STALE, names...)
		for range rapid.IntRange(0, 12).Draw(t, "reasons") {
			now.Reasons = append(now.Reasons, &pb.Reason{Text: text.Draw(t, "reason")})
		}
		for range rapid.IntRange(0, 12).Draw(t, "limits") {
			now.Restrictions = append(now.Restrictions, &pb.Restriction{Text: text.Draw(t, "limit")})
		}
		for _, n := range Of(Change{Now: now, ID: "7-ab"}) {
			m, err := n.Message(Structured, "/bayround/journals/j1")
			if err != nil {
				t.Fatal(err)
			}
			if len(m.Body) > Most || !json.Valid(m.Body) {
				t.Fatalf("%s is %d bytes long", n.Kind, len(m.Body))
			}
			all := len(now.GetReasons()) + len(now.GetRestrictions())
			if n.Kind == ChecksOverdue {
				all += steps
			}
			if got := len(n.Texts) + len(n.Limits) + len(n.Overdue) + n.LeftOut; got != all {
				t.Fatalf("%s: %d said or counted, of %d", n.Kind, got, all)
			}
			if len(n.Texts) > 0 && n.Texts[0] != now.GetReasons()[0].GetText() {
				t.Fatalf("the worst reason is not the first any more")
			}
		}
	})
}
