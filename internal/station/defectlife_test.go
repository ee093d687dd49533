package station_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/testing/protocmp"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// modelled is what the model knows of one defect: in the words of the contract, and
// worked out from calendar days, not from the station's code.
type modelled struct {
	step   string
	find   func(string) *pb.Result
	days   int        // the rule lets it wait so long
	effect pb.Verdict // of what was found

	name     string // "" until it was found first
	state    pb.DefectState
	answered bool
	first    time.Time // found, in the present life
	times    int32
	repeats  int32
	lives    int
	expires  time.Time // zero when nobody has let it wait
	extended bool
	closed   time.Time
}

const (
	isOpen     = pb.DefectState_DEFECT_STATE_OPEN
	isAnswered = pb.DefectState_DEFECT_STATE_ACKNOWLEDGED
	isWaiting  = pb.DefectState_DEFECT_STATE_DEFERRED
	isRepaired = pb.DefectState_DEFECT_STATE_RECTIFIED
	isClosed   = pb.DefectState_DEFECT_STATE_CLOSED
)

// stands is the state at an instant.
func (m *modelled) stands(now time.Time) pb.DefectState {
	switch {
	case m.state == isWaiting && now.Before(m.expires):
		return isWaiting
	case m.state != isWaiting && m.state != isOpen:
		return m.state
	case m.answered:
		return isAnswered
	}
	return isOpen
}

// verdict is what the defect alone makes of the vehicle; unspecified when it has no reason of its own.
func (m *modelled) verdict(now time.Time) pb.Verdict {
	switch {
	case m.name == "" || m.state == isClosed || m.state == isRepaired:
		return pb.Verdict_VERDICT_UNSPECIFIED
	case m.state == isWaiting && now.Before(m.expires):
		return pb.Verdict_VERDICT_RESTRICTED
	case m.state == isWaiting:
		return pb.Verdict_VERDICT_MOVE_ONLY // both are major: over, they take the vehicle off the run
	}
	return m.effect
}

// ends is the midnight after so many intervals, by counting days on a calendar.
func (m *modelled) ends(intervals int, zone *time.Location) time.Time {
	day, err := time.ParseInLocation(time.DateOnly, m.first.In(zone).Format(time.DateOnly), time.UTC)
	if err != nil {
		panic(err)
	}
	after := day.AddDate(0, 0, m.days*intervals+1).Format(time.DateOnly)
	end, err := time.ParseInLocation(time.DateOnly, after, zone)
	if err != nil {
		panic(err)
	}
	return end
}

// lifePlay plays the lives of two defects at one station, the model beside it.
type lifePlay struct {
	*stationtest.Kit
	round string
	zone  *time.Location
	all   []*modelled
	acts  int
}

// life is how many acts are played at one station in all, turn how many in one turn.
const (
	life = 240
	turn = 10
)

// TestDefect_LivesAsTheModelSays plays acts at random at one station, and compares
// with a model after each: where a defect stands, what it takes away at this very
// second, when it came back, and which acts are refused and why. The months it lasts
// hold a change of clocks. After a restart everything is as it was.
func TestDefect_LivesAsTheModelSays(t *testing.T) {
	zone, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	p := &lifePlay{Kit: deferring(t), zone: zone, all: []*modelled{
		{step: valve, find: leaking, days: 3, effect: pb.Verdict_VERDICT_MOVE_ONLY},
		{step: low, find: lowAt, days: 10, effect: pb.Verdict_VERDICT_RESTRICTED},
	}}
	p.round = p.RecordAll(p1, shift)
	rapid.Check(t, func(t *rapid.T) { // what is played goes on from where the play before has ended
		for i := 0; i < turn && p.acts < life; i++ {
			p.act(t)
			p.acts++
			p.compare(t)
		}
		if p.acts == life/2 { // the second half begins before the clocks are changed
			p.waitUntil(time.Date(2026, time.March, 28, 12, 0, 0, 0, zone))
			p.compare(t)
		}
	})
	p.waitUntil(time.Date(2026, time.April, 1, 0, 0, 0, 0, zone))
	p.compare(t)
	before := p.Readiness(p1)
	p.Reopen()
	if diff := cmp.Diff(before, p.Readiness(p1), protocmp.Transform(), protocmp.IgnoreFields(&pb.Readiness{}, "as_of")); diff != "" {
		t.Errorf("after a restart:\n%s", diff)
	}
	p.compare(t)
	if _, done := rehearse(t, p.Kit, packs(p.Kit, "o.value < 700.0", "o.value < 100.0")); done.GetEvents() != int64(events(t, p.Kit)) {
		t.Errorf("under rules that find nothing, %v of %d events were gone through", done, events(t, p.Kit))
	}
	if p.acts < life {
		t.Errorf("only %d acts were played of %d", p.acts, life)
	}
}

// waitUntil lets time pass until an instant, if it has not come.
func (p *lifePlay) waitUntil(at time.Time) { p.Clock.Advance(max(0, at.Sub(p.Clock.Now()))) }

// act draws one act, lets the station carry it out and the model follow.
func (p *lifePlay) act(t *rapid.T) {
	m := p.all[rapid.IntRange(0, 1).Draw(t, "which")]
	act := rapid.SampledFrom([]string{"find", "find", "look", "answer", "defer", "defer", "defer", "end", "repair", "wait", "wait", "wait to the second"}).Draw(t, "act")
	p.Clock.Advance(time.Duration(rapid.IntRange(1, 600).Draw(t, "seconds")) * time.Second)
	if m.name == "" && act != "find" && act != "wait" {
		return
	}
	switch act {
	case "find":
		p.Record(p.round, m.find(m.step))
		p.found(m)
	case "look":
		p.Record(p.round, stationtest.Read(m.step, "pressure", 8.2, "bar"))
		if m.state == isRepaired {
			m.state, m.closed = isClosed, p.Clock.Now()
		}
	case "answer":
		p.answer(t, m)
	case "defer":
		p.postpone(t, m)
	case "end":
		p.end(t, m)
	case "repair":
		p.repair(t, m)
	case "wait":
		p.Clock.Advance(time.Duration(rapid.IntRange(0, 60).Draw(t, "hours")) * time.Hour)
	case "wait to the second":
		if wait := m.expires.Sub(p.Clock.Now()); m.state == isWaiting && wait > time.Second {
			p.Clock.Advance(wait - time.Second)
			p.compare(t)
			p.Clock.Advance(time.Second)
		}
	}
}

// found is the model after a look that shows the fault.
func (p *lifePlay) found(m *modelled) {
	now := p.Clock.Now()
	switch {
	case m.name == "":
		m.first, m.times = now, 1
	case m.state == isClosed:
		repeat := m.repeats + 1
		if now.Sub(m.closed) > 30*24*time.Hour {
			repeat = 0
		}
		*m = modelled{step: m.step, find: m.find, days: m.days, effect: m.effect, name: m.name, first: now, times: 1, repeats: repeat, lives: min(m.lives+1, 12)}
	case m.state == isRepaired:
		m.times, m.repeats, m.lives, m.answered, m.expires, m.extended = m.times+1, m.repeats+1, min(m.lives+1, 12), false, time.Time{}, false
		m.state = isOpen
	default:
		m.times++
		return
	}
	m.state = isOpen
	if m.name == "" {
		m.name = openAt(p.Kit, m.step)
	}
}

// expect compares an error with the reason for which it should have been refused.
func (p *lifePlay) expect(t *rapid.T, what, reason string, err error) {
	t.Helper()
	if got := refusedWith(err); got != reason {
		t.Fatalf("%s: %q (%v), want %q", what, got, err, reason)
	}
}

// putRight is why a defect that is repaired or closed takes nothing more.
func (m *modelled) putRight() string {
	if m.state == isRepaired || m.state == isClosed {
		return "DEFECT_NOT_OPEN"
	}
	return ""
}

func (p *lifePlay) answer(t *rapid.T, m *modelled) {
	person := rapid.SampledFrom([]string{"people/mechanic", "people/mechanic", "people/officer"}).Draw(t, "who")
	_, err := p.AcknowledgeDefect(ctx, &pb.AcknowledgeDefectRequest{RequestId: p.ID(), Defect: m.name, Person: person, Planned: until(p.Clock.Now().Add(time.Hour))})
	want := m.putRight()
	if person != "people/mechanic" {
		want = "NOT_WORKSHOP"
	}
	p.expect(t, "answer", want, err)
	m.answered = m.answered || err == nil
}

// postpone asks for a deferral of a drawn length by a drawn person.
func (p *lifePlay) postpone(t *rapid.T, m *modelled) {
	person := rapid.SampledFrom([]string{"people/officer", "people/officer", "people/duty", "people/driver"}).Draw(t, "who")
	now := p.Clock.Now()
	once, twice := m.ends(1, p.zone), m.ends(2, p.zone)
	till := rapid.SampledFrom([]time.Time{once, once, twice, once.Add(time.Second), twice.Add(time.Second), now.Add(time.Minute)}).Draw(t, "until")
	var with []string
	for _, other := range p.all {
		if other != m && other.state == isWaiting {
			with = append(with, other.name)
		}
	}
	_, err := p.DeferDefect(ctx, &pb.DeferDefectRequest{
		RequestId: p.ID(), Defect: m.name, Person: person, Reason: "r", Restrictions: slow(), Until: until(till), TogetherWith: with,
	})
	want := m.putRight()
	switch {
	case want != "":
	case person == "people/driver":
		want = "NOT_OFFICER"
	case !till.After(now):
		want = "DEFERRAL_PAST"
	case till.After(twice):
		want = "DEFERRAL_TOO_LONG"
	case till.After(once) && person == "people/officer":
		want = "NOT_DUTY_OFFICER"
	}
	p.expect(t, fmt.Sprintf("defer until %v, once %v", till, once), want, err)
	if err == nil {
		m.state, m.expires, m.extended = isWaiting, till, till.After(once)
	}
}

func (p *lifePlay) end(t *rapid.T, m *modelled) {
	_, err := p.EndDeferral(ctx, &pb.EndDeferralRequest{RequestId: p.ID(), Defect: m.name, Person: "people/officer", Because: "b"})
	want := ""
	if m.stands(p.Clock.Now()) != isWaiting {
		want = "NOT_DEFERRED"
	}
	p.expect(t, "end", want, err)
	if err == nil {
		m.expires = p.Clock.Now()
	}
}

func (p *lifePlay) repair(t *rapid.T, m *modelled) {
	_, err := p.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: p.ID(), Defect: m.name, Person: "people/mechanic", Done: "d"})
	p.expect(t, "repair", m.putRight(), err)
	if err == nil {
		m.state = isRepaired
	}
}

// compare holds the station to the model at this second.
func (p *lifePlay) compare(t interface {
	Helper()
	Fatalf(string, ...any)
},
) {
	t.Helper()
	now := p.Clock.Now()
	r := p.Readiness(p1)
	waiting := 0
	for _, m := range p.all {
		if m.name == "" {
			continue
		}
		got, err := p.GetDefect(ctx, &pb.GetDefectRequest{Name: m.name})
		if err != nil {
			t.Fatalf("%v", err)
		}
		d := got.GetDefect()
		if d.GetState() != m.stands(now) || d.GetTimesFound() != m.times || d.GetRepeats() != m.repeats || len(d.GetEarlier()) != m.lives {
			t.Fatalf("%v: %v, found %d times, repeat %d, %d lives; want %v, %d, %d, %d", now, d.GetState(), d.GetTimesFound(), d.GetRepeats(), len(d.GetEarlier()), m.stands(now), m.times, m.repeats, m.lives)
		}
		of := pb.Verdict_VERDICT_UNSPECIFIED
		for _, reason := range r.GetReasons() {
			if reason.GetDefect() == m.name {
				of = reason.GetVerdict()
			}
		}
		if of != m.verdict(now) {
			t.Fatalf("%v: %v takes %v, want %v (expires %v)", now, m.step, of, m.verdict(now), m.expires)
		}
		if m.state == isWaiting {
			waiting++
			if d.GetDeferral().GetExtensions() > 0 != m.extended {
				t.Fatalf("%d extensions, want some: %v", d.GetDeferral().GetExtensions(), m.extended)
			}
		}
	}
	together := slices.ContainsFunc(r.GetReasons(), func(reason *pb.Reason) bool { return reason.GetTogether() != nil })
	if together != (waiting == 2) {
		t.Fatalf("%v: %d wait, judged together: %v", now, waiting, together)
	}
}

// refusedWith is the reason of a refusal; "" for none.
func refusedWith(err error) string {
	var f *fault.Fault
	if errors.As(err, &f) {
		return f.Reason
	}
	if err != nil {
		return err.Error()
	}
	return ""
}
