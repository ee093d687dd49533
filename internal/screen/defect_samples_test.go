package screen

import (
	"context"
	"strings"
	"testing"
	"time"

	"bayround/internal/fault"
	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// sampleDefects are defects in every state, each with all that may be known of it.
func sampleDefects(t testing.TB) map[string]*pb.Defect {
	const day = 24 * time.Hour
	in := func(d time.Duration) *timestamppb.Timestamp { return timestamppb.New(sampleNow.Add(d)) }
	answer := &pb.Acknowledgement{Person: "people/steddow", StationTime: ago(20 * time.Hour), First: ago(22 * time.Hour), Planned: in(30 * time.Hour), Note: "the buckle is on order"}
	repair := &pb.Repair{Person: "people/steddow", StationTime: ago(40 * time.Minute), Done: "valve insert replaced, leak test done", Parts: []string{"valve insert, rear inner"}}

	open := defectOf(pumpFinding, "PMP-010/pump", 1)
	open.FoundBy, open.FirstFound = "people/arkwith", ago(3*day)

	deferred := defectOf(beltFinding, "CAB-040/seat-crew-3", 3)
	deferred.FoundBy, deferred.State, deferred.Acknowledgement, deferred.FirstFound = "people/arkwith", pb.DefectState_DEFECT_STATE_DEFERRED, answer, ago(5*day)
	deferred.Deferral = &pb.Deferral{
		Person: "people/osgarry", StationTime: ago(2 * day), Reason: "five riders are enough until the buckle is here", Restrictions: beltFinding.GetRestrictions(),
		Expires: in(16 * time.Hour), ExpiresLocal: "2026-11-25 23:42", WarnFrom: []*timestamppb.Timestamp{in(-32 * time.Hour), in(-8 * time.Hour)},
		Grade: pb.Grade_GRADE_MINOR, WhenOver: pb.Effect_EFFECT_RESPONDING, Effect: pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT, Extensions: 1,
	}

	planned := defectOf(brakeFinding, "BRA-140/driver-seat", 2)
	planned.FoundBy, planned.State, planned.Acknowledgement, planned.FirstFound = "people/arkwith", pb.DefectState_DEFECT_STATE_ACKNOWLEDGED, answer, ago(day)

	rectified := defectOf(tyreFinding, "TYR-010/axle-2-nearside-inner", 4)
	rectified.FoundBy, rectified.State, rectified.Repair, rectified.Repeats, rectified.FirstFound = "people/arkwith", pb.DefectState_DEFECT_STATE_RECTIFIED, repair, 2, ago(2*day)
	rectified.Photos = []string{"aa", "bb"}
	rectified.Earlier = []*pb.EarlierDefect{
		{FirstFound: ago(21 * day), Acknowledged: ago(20 * day), Repair: &pb.Repair{Person: "people/steddow", StationTime: ago(19 * day), Done: "pumped up, no fault found"}, Closed: ago(19*day - time.Hour)},
		{FirstFound: ago(41 * day), Repair: &pb.Repair{Person: "people/steddow", StationTime: ago(40 * day), Done: "valve cap replaced", DoneBy: "the tyre fitter"}, Closed: ago(40*day - time.Hour)},
	}

	closed := defectOf(beltFinding, "CAB-040/seat-crew-1", 1)
	closed.FoundBy, closed.State, closed.Acknowledgement, closed.FirstFound = "people/arkwith", pb.DefectState_DEFECT_STATE_CLOSED, answer, ago(12*day)
	closed.Repair = &pb.Repair{Person: "people/steddow", StationTime: ago(4 * day), Done: "latch greased"}
	closed.Closed, closed.ClosedBy = ago(4*day-2*time.Hour), "people/venholt"

	stopped := stoppedSample(t).Defect
	stopped.FoundBy, stopped.TimesFound = "people/arkwith", 1
	stopped.Findings = []*pb.Finding{{Grade: pb.Grade_GRADE_DANGEROUS, Effect: pb.Effect_EFFECT_MOVING, Text: "Stopped: " + stopped.GetStop().GetReason()}}
	return map[string]*pb.Defect{"open": open, "deferred": deferred, "planned": planned, "rectified": rectified, "closed": closed, "stopped": stopped}
}

// answerViews is who has signed in before what became of their reports.
func answerViews(t testing.TB, views map[string]*round.View) {
	defects := sampleDefects(t)
	v := baseView(t)
	v.Phase, v.Chosen = round.PhaseSignIn, sampleVehicle(t, "WN11")
	v.Session = &round.Session{Driver: person(t, "arkwith")}
	v.Answers = &round.Answers{Open: true, New: 3, Seen: "0123456789abcdef"}
	for _, name := range []string{"deferred", "rectified", "open", "planned", "stopped", "closed"} {
		v.Answers.All = append(v.Answers.All, round.Answer{Defect: defects[name], CallSign: "WN11", New: len(v.Answers.All) < 3})
	}
	views["answers"] = v

	v = baseView(t)
	v.Phase, v.Link = round.PhaseVehicles, round.Link{Since: sampleNow.Add(-3 * time.Hour)}
	v.Session = &round.Session{Driver: person(t, "arkwith")}
	v.Answers = &round.Answers{Open: true, Seen: "0123456789abcdef"}
	views["answers-none"] = v

	release := func(change func(*round.Release)) *round.View {
		v := baseView(t)
		v.Phase = round.PhaseVehicles
		v.Release = &round.Release{Stopped: stoppedSample(t), Vehicle: sampleVehicle(t, "WN11").Configuration, People: v.People[:10]}
		change(v.Release)
		return v
	}
	views["release-waits"] = release(func(r *round.Release) {})
	views["release"] = release(func(r *round.Release) {
		r.Missing, r.RepairedBy, r.Defect = "", "Jun Steddow", proto.CloneOf(r.Defect)
		r.Defect.State, r.Defect.Repair = pb.DefectState_DEFECT_STATE_RECTIFIED, defects["rectified"].GetRepair()
	})
	views["release-offline"] = release(func(r *round.Release) {
		r.Missing, r.Defect = "not found sound since the repair, by another than who repaired: Steering play (STE-010/front); check it again, then release", proto.CloneOf(r.Defect)
		r.Defect.State, r.Defect.Repair = pb.DefectState_DEFECT_STATE_RECTIFIED, defects["rectified"].GetRepair()
		r.Defect.Stop.StepIds = []string{"STE-010/front"}
	})
	views["release-offline"].Link = round.Link{Since: sampleNow.Add(-time.Hour)}

	views["vehicles"].Answers = &round.Answers{New: 3, Seen: "0123456789abcdef"}
}

// Defects gives those of WN11, and figures as they might be.
func (a *keptArchive) Defects(_ context.Context, vehicle string) (all round.Defects, from round.Source, err error) {
	if vehicle != "" && vehicle != "vehicles/wn11" {
		return round.Defects{Figures: &pb.GetDefectFiguresResponse{}}, a.from, a.broken
	}
	for _, id := range []string{"stopped", "planned", "rectified", "open", "deferred"} {
		all.Open = append(all.Open, a.named(id))
	}
	all.Closed = []*pb.Defect{a.named("closed")}
	all.Figures = &pb.GetDefectFiguresResponse{
		Open: 5, Deferred: 1, Rectified: 1, Unanswered: 2, Repeats: 3, Found: 21, Since: ago(90 * 24 * time.Hour),
		OpenByAge: []*pb.DefectAge{
			{UpToDays: 1, Defects: 2, Dangerous: 2},
			{OverDays: 1, UpToDays: 3, Defects: 2, Major: 2},
			{OverDays: 3, UpToDays: 10, Defects: 1},
			{OverDays: 10, UpToDays: 30},
			{OverDays: 30, UpToDays: 120},
			{OverDays: 120},
		},
		ToAcknowledge: &pb.DefectTimes{Defects: 16, MedianH: 5.5, NineInTenH: 26, LongestH: 71},
		ToRectify:     &pb.DefectTimes{Defects: 14, MedianH: 52, NineInTenH: 190, LongestH: 401},
	}
	return all, a.from, a.broken
}

// named is a defect under the name that its page has.
func (a *keptArchive) named(id string) *pb.Defect {
	d := proto.CloneOf(a.defects[id])
	d.Name = "vehicles/wn11/defects/" + id
	return d
}

// Defect gives one of them.
func (a *keptArchive) Defect(_ context.Context, name string) (*pb.GetDefectResponse, round.Source, error) {
	id := lastPart(name)
	if a.defects[id] == nil {
		return nil, a.from, fault.New(fault.NotFound, "DEFECT_UNKNOWN", "there is no defect %q", name)
	}
	resp := &pb.GetDefectResponse{Defect: a.named(id), Right: &pb.DeferralRight{WhyNot: "it is dangerous, and what is dangerous never waits"}}
	if id == "stopped" {
		resp.ReleaseMissing = "the workshop has not recorded what it did; a vehicle is released after its repair"
	}
	return resp, a.from, a.broken
}

// Whose turn it is: the workshop, then who checks again, then who releases.
func TestReleaseSteps_SayWhoseTurnItIs(t *testing.T) {
	views := sampleViews(t)
	for name, want := range map[string]string{"release-waits": "now then", "release": "done now", "release-offline": "done now then"} {
		p := pane{views[name], Display{}}
		var turns []string
		for _, step := range p.ReleaseSteps() {
			turns = append(turns, step.Turn)
		}
		if got := strings.Join(turns, " "); got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
		if waits := p.ReleaseWaits(); (waits != "") != (name == "release-offline") {
			t.Errorf("%s: %q", name, waits)
		}
	}
}
