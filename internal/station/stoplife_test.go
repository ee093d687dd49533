package station_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// stopPlay plays stops of one vehicle, a model of them beside it. The model knows the
// contract of ReleaseVehicle and nothing of the station's code.
type stopPlay struct {
	*stationtest.Kit
	round string
	acts  int

	name     string // of the newest stop; "" before the first
	state    pb.DefectState
	about    []string          // steps
	looked   map[string]string // since the repair: who looked last, by step
	released int
}

// TestStop_IsReleasedAsTheModelSays stops a vehicle, repairs it, looks and releases it in
// any order and by anybody: nothing less than the workshop's work, a look at each step
// concerned by another than who repaired, and the word of another than who repaired lets
// it go; and until then it may not respond.
func TestStop_IsReleasedAsTheModelSays(t *testing.T) {
	p := &stopPlay{Kit: deferring(t), looked: map[string]string{}}
	p.round = p.RecordAll(p1, shift)
	const inAll = 200
	rapid.Check(t, func(t *rapid.T) { // what is played goes on from where the play before has ended
		for i := 0; i < turn && p.acts < inAll; i++ {
			p.act(t)
			p.acts++
			p.compare(t)
		}
	})
	p.Reopen()
	p.compare(t)
	if p.acts < inAll || p.released == 0 {
		t.Errorf("%d acts of %d were played, and it was released %d times", p.acts, inAll, p.released)
	}
}

func (p *stopPlay) act(t *rapid.T) {
	p.Clock.Advance(time.Duration(rapid.IntRange(1, 20).Draw(t, "seconds")) * time.Second)
	person := rapid.SampledFrom([]string{"people/driver", "people/other", "people/mechanic", "people/mechanic", "people/officer"}).Draw(t, "who")
	switch rapid.SampledFrom([]string{"stop", "repair", "look", "look", "look", "release", "release"}).Draw(t, "act") {
	case "stop":
		if p.name == "" || p.state == isClosed {
			p.stop(t, person)
		}
	case "repair":
		p.repair(t, person)
	case "look":
		step := rapid.SampledFrom([]string{valve, low}).Draw(t, "step")
		r := stationtest.Read(step, "pressure", 8.5, "bar")
		r.Person = person
		p.Record(p.round, r)
		if p.state == isRepaired {
			p.looked[step] = person
		}
	case "release":
		p.release(t, person)
	}
}

func (p *stopPlay) stop(t *rapid.T, person string) {
	about := [][]string{nil, {valve}, {valve, low}}[rapid.IntRange(0, 2).Draw(t, "about")]
	got, err := p.StopVehicle(ctx, &pb.StopVehicleRequest{RequestId: p.ID(), Vehicle: p1, Person: person, Reason: "r", StepIds: about})
	if err != nil {
		t.Fatalf("anybody stops a vehicle, but %s: %v", person, err)
	}
	p.name, p.state, p.about, p.looked = got.GetDefect().GetName(), isOpen, about, map[string]string{}
}

func (p *stopPlay) repair(t *rapid.T, person string) {
	if p.name == "" {
		return
	}
	_, err := p.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: p.ID(), Defect: p.name, Person: person, Done: "d"})
	want := ""
	switch {
	case person != "people/mechanic":
		want = "NOT_WORKSHOP"
	case p.state != isOpen:
		want = "DEFECT_NOT_OPEN"
	}
	if got := refusedWith(err); got != want {
		t.Fatalf("repaired by %s: %q (%v), want %q", person, got, err, want)
	}
	if err == nil {
		p.state, p.looked = isRepaired, map[string]string{}
	}
}

func (p *stopPlay) release(t *rapid.T, person string) {
	if p.name == "" {
		return
	}
	_, err := p.ReleaseVehicle(ctx, &pb.ReleaseVehicleRequest{RequestId: p.ID(), Defect: p.name, Person: person, Checked: "c"})
	want := ""
	switch {
	case p.state == isClosed:
		want = "DEFECT_NOT_OPEN"
	case p.state == isOpen:
		want = "REPAIR_MISSING"
	case person == "people/mechanic":
		want = "SAME_PERSON"
	}
	for _, step := range p.about {
		if by := p.looked[step]; want == "" && (by == "" || by == "people/mechanic") {
			want = "RECHECK_MISSING"
		}
	}
	if got := refusedWith(err); got != want {
		t.Fatalf("released by %s, about %v, looked at by %v: %q (%v), want %q", person, p.about, p.looked, got, err, want)
	}
	if err == nil {
		p.state = isClosed
		p.released++
	}
}

// compare holds the station to the model at this second.
func (p *stopPlay) compare(t interface {
	Helper()
	Fatalf(string, ...any)
},
) {
	t.Helper()
	want := pb.Verdict_VERDICT_FIT
	switch p.state {
	case isOpen:
		want = pb.Verdict_VERDICT_UNFIT
	case isRepaired:
		want = pb.Verdict_VERDICT_UNPROVEN
	}
	if r := p.Readiness(p1); r.GetVerdict() != want {
		t.Fatalf("%v: the vehicle is %v because %v, want %v", p.state, r.GetVerdict(), r.GetReasons(), want)
	}
	if p.name == "" {
		return
	}
	got, err := p.GetDefect(ctx, &pb.GetDefectRequest{Name: p.name})
	if err != nil || got.GetDefect().GetState() != p.state {
		t.Fatalf("%v (%v), want %v", got.GetDefect().GetState(), err, p.state)
	}
}
