package notify_test

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"bayround/internal/notice"
	"bayround/internal/notify"
	"bayround/internal/stationtest"
)

// What happens at a station reaches a receiver that uses the CloudEvents SDK, in both
// modes: how every vehicle stands first, then each change, in order; and so does what
// happened while nobody told.
func TestNotifier_TellsWhatChanges(t *testing.T) {
	for _, mode := range []notice.Mode{notice.Structured, notice.Binary} {
		t.Run(string(mode), func(t *testing.T) {
			k, r := stationtest.Open(t), receive(t)
			s := to(t, r.URL, notice.Filter{})
			s.Mode = mode
			n, _ := tells(t, k, s)
			kept(t, n)
			n.Close()
			k.RecordAll(p1, shift)
			k.Record(k.RecordAll(p2, shift), stationtest.Seen(screen, "03"))
			k.Clock.Advance(15 * time.Hour) // the answers become too old
			tells(t, k, s)
			var told []string
			for _, g := range r.told(7) {
				told = append(told, g.data.CallSign+" "+g.event.Type()+" "+g.data.Was+">"+g.data.Verdict)
			}
			want := []string{
				"Q1 bayround.v1.verdict.changed >UNPROVEN", "Q2 bayround.v1.verdict.changed >UNPROVEN",
				"Q1 bayround.v1.verdict.changed UNPROVEN>FIT",
				"Q2 bayround.v1.verdict.changed UNPROVEN>UNFIT", "Q2 bayround.v1.defect.found >UNFIT",
				"Q1 bayround.v1.verdict.changed FIT>UNPROVEN", "Q1 bayround.v1.checks.overdue >UNPROVEN",
			}
			if !slices.Equal(told[:7], want) {
				t.Errorf("told\n%s\nwant\n%s", strings.Join(told, "\n"), strings.Join(want, "\n"))
			}
		})
	}
}

// answers with a code, and with Retry-After when it is not empty.
func answers(code int, after string) func(http.ResponseWriter) {
	return func(w http.ResponseWriter) {
		if after != "" {
			w.Header().Set("Retry-After", after)
		}
		w.WriteHeader(code)
	}
}

// hangUp ends the connection without an answer.
func hangUp(http.ResponseWriter) { panic(http.ErrAbortHandler) }

// The same event, with the same id and a new time of attempt, until it is taken. Pauses
// grow as the package says; what a receiver asks for with Retry-After (RFC 9110, section
// 10.2.3, seconds or an instant) is kept when it is longer, and never for more than a day.
func TestNotifier_TriesAgainUntilItIsTaken(t *testing.T) {
	k := stationtest.Open(t)
	inTwoHours := func(w http.ResponseWriter) {
		answers(503, k.Clock.Now().Add(2*time.Hour).Format(http.TimeFormat))(w)
	}
	for i, tc := range []struct {
		why     string
		answers []func(http.ResponseWriter)
		want    []time.Duration
	}{
		{"taken at once", nil, nil},
		{"it fails thrice", []func(http.ResponseWriter){answers(500, ""), answers(404, ""), hangUp}, []time.Duration{time.Second, 2 * time.Second, 4 * time.Second}},
		{"too many, in seconds", []func(http.ResponseWriter){answers(429, "120")}, []time.Duration{2 * time.Minute}},
		{"not now, at an instant", []func(http.ResponseWriter){inTwoHours}, []time.Duration{2 * time.Hour}},
		{"shorter than our own pause", []func(http.ResponseWriter){answers(500, ""), answers(500, ""), answers(503, "1")}, []time.Duration{time.Second, 2 * time.Second, 4 * time.Second}},
		{"for a year", []func(http.ResponseWriter){answers(429, "31536000")}, []time.Duration{24 * time.Hour}},
		{"what nobody can read", []func(http.ResponseWriter){answers(429, "soon")}, []time.Duration{time.Second}},
		{"only these two codes ask to wait", []func(http.ResponseWriter){answers(400, "120")}, []time.Duration{time.Second}},
	} {
		t.Run(tc.why, func(t *testing.T) {
			r, at := receive(t, tc.answers...), k.Clock.Now()
			s := to(t, r.URL, notice.Filter{})
			s.Name = fmt.Sprint("case-", i)
			n, w := tells(t, k, s)
			all, taken := r.until(func(_, taken []got) bool { return len(taken) == 2 }) // the second comes when the first is noted
			if got := w.noted(); !slices.Equal(got, tc.want) {
				t.Errorf("waited %v, want %v", got, tc.want)
			}
			for i, g := range all[:len(all)-1] {
				if i > 0 {
					at = at.Add(tc.want[i-1])
				}
				if g.event.ID() != taken[0].event.ID() || g.at != strconv.FormatInt(at.Unix(), 10) {
					t.Errorf("attempt %d: %s at %s, want %s at %d", i, g.event.ID(), g.at, taken[0].event.ID(), at.Unix())
				}
			}
			n.Close()
			if s := n.States()[0]; s.Delivered < 1 || s.Failures != 0 || s.Error != "" || !s.Next.IsZero() || s.Words(k.Clock.Now()) != "well" {
				t.Errorf("afterwards it stands %+v", s)
			}
		})
	}
}

// onError tells that an error was logged, once.
type onError struct {
	slog.Handler
	logged chan struct{}
}

func (h onError) Enabled(context.Context, slog.Level) bool { return true }
func (h onError) WithAttrs([]slog.Attr) slog.Handler       { return h }
func (h onError) Handle(_ context.Context, r slog.Record) error {
	if r.Level == slog.LevelError {
		close(h.logged)
	}
	return nil
}

// 410 Gone ends a subscription, also over a restart, until its address is another.
func TestNotifier_GoneEndsASubscription(t *testing.T) {
	k, r, other := stationtest.Open(t), receive(t, answers(http.StatusGone, "")), receive(t)
	ended := make(chan struct{})
	n, err := notify.Open(k.Station, notify.Options{
		Data: k.Dir(), Subscriptions: []notify.Subscription{to(t, r.URL, notice.Filter{})}, Now: k.Clock.Now,
		Logger: slog.New(onError{slog.DiscardHandler, ended}),
	})
	if err != nil {
		t.Fatal(err)
	}
	<-ended
	all, _ := r.until(func(all, _ []got) bool { return len(all) == 1 })
	n.Close()
	w := &waits{}
	for range 2 {
		s := n.States()[0]
		if s.Words(k.Clock.Now()) != "ended" || !strings.Contains(s.Error, "410") || len(w.noted()) > 0 {
			t.Errorf("it stands %+v after waits of %v", s, w.noted())
		}
		n, w = tells(t, k, to(t, r.URL, notice.Filter{}))
		n.Close()
	}
	if again, _ := r.until(func([]got, []got) bool { return true }); len(again) != 1 {
		t.Errorf("it was told %v after it had ended its subscription", ids(again[1:]))
	}
	tells(t, k, to(t, other.URL, notice.Filter{}))
	if first := other.told(1)[0]; first.event.ID() != all[0].event.ID() {
		t.Errorf("the new address begins with %s, want what the old one did not take: %s", first.event.ID(), all[0].event.ID())
	}
}

// A redirect is a failure: nothing goes anywhere but where the file says.
func TestNotifier_FollowsNoRedirect(t *testing.T) {
	elsewhere := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("a redirect was followed") }))
	t.Cleanup(elsewhere.Close)
	var all []func(http.ResponseWriter)
	for _, code := range []int{301, 302, 303, 307, 308} {
		all = append(all, func(w http.ResponseWriter) {
			w.Header().Set("Location", elsewhere.URL)
			w.WriteHeader(code)
		})
	}
	k, r := stationtest.Open(t), receive(t, all...)
	_, w := tells(t, k, to(t, r.URL, notice.Filter{Vehicles: []string{p1}}))
	r.told(1)
	if len(w.noted()) != len(all) {
		t.Errorf("%d waits, want one after each of %d redirects", len(w.noted()), len(all))
	}
}

// A receiver that hangs holds up nobody: while it has not answered, a round is recorded
// and another receiver told.
func TestNotifier_AHangingReceiverHoldsUpNobody(t *testing.T) {
	k, well := stationtest.Open(t), receive(t)
	hangs, release := make(chan struct{}), make(chan struct{})
	dead := receive(t, func(w http.ResponseWriter) {
		close(hangs)
		<-release
		w.WriteHeader(http.StatusNoContent)
	})
	a, b := to(t, dead.URL, notice.Filter{}), to(t, well.URL, notice.Filter{})
	b.Name = "display"
	w := &waits{clock: k.Clock}
	n, err := notify.Open(k.Station, notify.Options{Data: k.Dir(), Subscriptions: []notify.Subscription{a, b}, Now: k.Clock.Now, Wait: w.wait})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(n.Close)
	<-hangs
	well.told(2) // each begins with how the vehicles stand when it begins, so both have begun
	k.RecordAll(p1, shift)
	k.RecordAll(p2, shift)
	k.RecordAll(p2, weekly)
	want := ids(well.told(4))
	all, _ := dead.until(func([]got, []got) bool { return true })
	if len(all) != 1 {
		t.Errorf("the hanging receiver was sent %d, want one at a time", len(all))
	}
	close(release)
	dead.told(3)
	if all, _ = dead.until(func([]got, []got) bool { return true }); !slices.Equal(ids(all), want) {
		t.Errorf("once it answers it is told %v, the other was told %v", ids(all), want)
	}
}

// An attempt that is under way when the station stops is made again at the next start,
// with the same id, and not before the time that the receiver asked for.
func TestNotifier_GoesOnAfterARestart(t *testing.T) {
	k := stationtest.Open(t)
	r := receive(t, answers(503, "3600"))
	s := to(t, r.URL, notice.Filter{Vehicles: []string{p1}})
	stop := make(chan struct{})
	n, err := notify.Open(k.Station, notify.Options{
		Data: k.Dir(), Subscriptions: []notify.Subscription{s}, Now: k.Clock.Now,
		Wait: func(ctx context.Context, _ time.Duration) { close(stop); <-ctx.Done() },
	})
	if err != nil {
		t.Fatal(err)
	}
	<-stop
	n.Close()
	states, err := notify.States(k.Dir())
	if err != nil || len(states) != 1 || states[0].Words(k.Clock.Now()) != "failing" || !states[0].Next.Equal(k.Clock.Now().Add(time.Hour)) {
		t.Fatalf("on disk it stands %+v, %v", states, err)
	}
	k.Clock.Advance(10 * time.Minute)
	k.Reopen()
	_, w := tells(t, k, s)
	all, taken := r.until(func(_, taken []got) bool { return len(taken) == 1 })
	if len(all) != 2 || all[0].event.ID() != taken[0].event.ID() {
		t.Errorf("told %v, want the same twice", ids(all))
	}
	if got := w.noted(); !slices.Equal(got, []time.Duration{50 * time.Minute}) {
		t.Errorf("waited %v after the restart, want the 50 minutes that are left", got)
	}
}

// A place in another record is given up, aloud, and everything is told anew.
func TestNotifier_BeginsAnewInAnotherRecord(t *testing.T) {
	k, other, r := stationtest.Open(t), stationtest.Open(t), receive(t)
	s := to(t, r.URL, notice.Filter{})
	n, _ := tells(t, k, s)
	kept(t, n)
	n.Close()
	if err := os.CopyFS(filepath.Join(other.Dir(), notify.Folder), os.DirFS(filepath.Join(k.Dir(), notify.Folder))); err != nil {
		t.Fatal(err)
	}
	tells(t, other, s)
	told := r.told(4)
	if before, now := told[1].event.Source(), told[2].event.Source(); before == now || now != told[3].event.Source() || told[3].data.Was != "" {
		t.Errorf("after %s came %v of %s", before, ids(told[2:]), now)
	}
}
