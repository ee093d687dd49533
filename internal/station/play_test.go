package station_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// play works a station at random: what drivers, workshop and whoever keeps the
// configuration do, in any order, sensible or not.
type play struct {
	*stationtest.Kit
	rt      *rapid.T
	rounds  []string
	results map[string][]string // ids by step
	seen    []seen
	packs   int
	settled bool // nobody changes what is in force, but for checks of gauges

	twin   *stationtest.Kit // that acts are carried out at first; nil for none
	atTwin bool             // the next one is
}

// each carries out an act: at the twin first when it is done there, then at the
// station, under the same ids. What counts is what the station says.
func (p *play) each(act func(s *station.Station) error) error {
	if p.atTwin {
		if err := act(p.twin.Station); !refused(err) {
			p.rt.Fatalf("unexpected at the twin: %v", err)
		}
	}
	return act(p.Station)
}

// refused tells that an act was carried out, or refused in a way that is right here.
func refused(err error) bool {
	return err == nil || fault.Is(err, fault.Precondition) || fault.Is(err, fault.NotFound) || fault.Is(err, fault.Invalid)
}

// seen is a readiness as it was answered.
type seen struct {
	vehicle string
	at      time.Time
	bytes   []byte
}

var vehicles = []string{"vehicles/p1", "vehicles/p2"}

func newPlay(t testing.TB, rt *rapid.T, dir string) *play {
	clock := stationtest.NewClock()
	k := stationtest.OpenWith(t, clock, station.Options{Dir: dir, Now: clock.Now, Defaults: stationtest.Small()})
	return &play{Kit: k, rt: rt, results: map[string][]string{}}
}

// act does one thing and looks at the vehicles before and after it.
func (p *play) act() {
	p.Clock.Advance(time.Duration(rapid.Int64Range(1, int64(3*time.Hour)).Draw(p.rt, "pass")))
	p.look()
	p.Clock.Advance(time.Nanosecond) // what happens now was not there when we looked
	acts := []func() error{
		p.open, p.record, p.record, p.record, p.record, p.record, p.record,
		p.pause, p.resume, p.finish, p.giveUp, p.begin, p.makeSafe, p.repair, p.check, p.apply,
	}
	if p.settled {
		acts = acts[:len(acts)-1]
	}
	err := rapid.SampledFrom(acts).Draw(p.rt, "act")()
	if !refused(err) {
		p.rt.Fatalf("unexpected: %v", err)
	}
	p.look()
}

func (p *play) look() {
	for _, v := range vehicles {
		r := p.Readiness(v)
		p.seen = append(p.seen, seen{v, r.GetAsOf().AsTime(), exact(r)})
	}
}

// exact is a message as bytes that are equal when the messages are.
func exact(m proto.Message) []byte {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		panic(err)
	}
	return b
}

func (p *play) round() string {
	if len(p.rounds) == 0 {
		return "rounds/" + p.ID()
	}
	return rapid.SampledFrom(p.rounds).Draw(p.rt, "round")
}

func (p *play) open() error {
	name := "rounds/" + p.ID()
	req := &pb.OpenRoundRequest{
		Round: name, Vehicle: rapid.SampledFrom(vehicles).Draw(p.rt, "vehicle"),
		Routine: rapid.SampledFrom([]string{"routines/shift", "routines/weekly"}).Draw(p.rt, "routine"),
		Driver:  rapid.SampledFrom([]string{"people/driver", "people/other"}).Draw(p.rt, "driver"), Device: "tablet-1",
	}
	if rapid.Bool().Draw(p.rt, "conditions") {
		req.Conditions = p.conditions(-4 * time.Hour)
	}
	err := p.each(func(s *station.Station) error {
		_, err := s.OpenRound(context.Background(), req)
		return err
	})
	if err == nil {
		p.rounds = append(p.rounds, name)
	}
	return err
}

// conditions are some of those that can be told.
func (p *play) conditions(stopped time.Duration) *pb.RoundConditions {
	c := &pb.RoundConditions{EngineStopped: timestamppb.New(p.Clock.Now().Add(stopped))}
	if rapid.Bool().Draw(p.rt, "instruments") {
		c.AmbientCelsius = proto.Float64(rapid.Float64Range(-10, 30).Draw(p.rt, "air"))
		c.OdometerKm = proto.Float64(rapid.Float64Range(0, 1e5).Draw(p.rt, "odometer"))
	}
	return c
}

func (p *play) record() error {
	name := p.round()
	got, err := p.GetRound(context.Background(), &pb.GetRoundRequest{Name: name})
	if err != nil {
		return err
	}
	plan := p.Plan(got.GetRound().GetVehicle(), got.GetRound().GetRoutine())
	step := rapid.SampledFrom(plan.GetSteps()).Draw(p.rt, "step")
	r := p.answer(step)
	key := got.GetRound().GetVehicle() + step.GetStepId()
	if ids := p.results[key]; len(ids) > 0 && rapid.IntRange(0, 3).Draw(p.rt, "cure") == 0 {
		r.Cure = &pb.Cure{
			FoundResultId: rapid.SampledFrom(ids).Draw(p.rt, "found"), Done: "mended",
			Amount: rapid.SampledFrom([]float64{0, 0.5}).Draw(p.rt, "amount"), Unit: rapid.SampledFrom([]string{"", "L", "bar"}).Draw(p.rt, "unit"),
		}
	}
	r.Correction = rapid.IntRange(0, 4).Draw(p.rt, "correction") == 0
	r.LookedS = rapid.SampledFrom([]float64{0, 0.5, 4}).Draw(p.rt, "looked")
	r.LeftOpen = rapid.IntRange(0, 5).Draw(p.rt, "left open") == 0
	if r.GetReading() != nil && rapid.Bool().Draw(p.rt, "by gauge") {
		r.Gauge = "gauges/g-1"
	}
	r.Person = rapid.SampledFrom([]string{"people/driver", "people/other"}).Draw(p.rt, "person")
	late := time.Duration(rapid.Int64Range(0, int64(5*time.Hour)).Draw(p.rt, "late"))
	r.DeviceTime = timestamppb.New(p.Clock.Now().Add(-late))
	if rapid.Bool().Draw(p.rt, "knows its clock") {
		r.DeviceAheadS = proto.Float64(rapid.SampledFrom([]float64{-600, 0, 0.25, 600}).Draw(p.rt, "ahead"))
	}
	req := p.Request(name, r)
	err = p.each(func(s *station.Station) error {
		_, err := s.RecordResult(context.Background(), req)
		return err
	})
	if err != nil {
		return err
	}
	p.results[key] = append(p.results[key], req.GetResult().GetResultId())
	return nil
}

func (p *play) answer(step *pb.CheckStep) *pb.Result {
	id := step.GetStepId()
	kind := rapid.IntRange(0, 3).Draw(p.rt, "answer")
	switch {
	case kind == 0:
		return stationtest.NotChecked(id, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME)
	case kind > 1:
		return stationtest.Sound(step)
	}
	var beside []string
	for _, c := range step.GetConditions() {
		if step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_CONDITION && rapid.Bool().Draw(p.rt, "beside") {
			beside = append(beside, c.GetId())
		}
	}
	switch step.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		return stationtest.Beside(stationtest.Stands(id, pb.LevelMark_LEVEL_MARK_BELOW, 0), beside...)
	case pb.AnswerKind_ANSWER_KIND_READING:
		r := stationtest.Read(id, "pressure", rapid.SampledFrom([]float64{6.5, 7.2, 9}).Draw(p.rt, "bar"), "bar")
		return stationtest.Beside(r, beside...)
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		return stationtest.Beside(stationtest.Tread(id, 1.2, 1.2, 8), beside...)
	}
	bad := step.GetConditions()[1+rapid.IntRange(0, len(step.GetConditions())-2).Draw(p.rt, "condition")]
	return stationtest.Seen(id, bad.GetId())
}

func (p *play) pause() error {
	req := &pb.PauseRoundRequest{RequestId: p.ID(), Round: p.round(), Note: "turnout", Turnout: true}
	ahead := time.Duration(rapid.Int64Range(int64(-3*time.Hour), int64(time.Hour)).Draw(p.rt, "device"))
	req.DeviceTime = timestamppb.New(p.Clock.Now().Add(ahead))
	return p.each(func(s *station.Station) error {
		_, err := s.PauseRound(context.Background(), req)
		return err
	})
}

func (p *play) resume() error {
	req := &pb.ResumeRoundRequest{RequestId: p.ID(), Round: p.round()}
	if rapid.Bool().Draw(p.rt, "says when") {
		req.DeviceTime = timestamppb.New(p.Clock.Now().Add(-time.Duration(rapid.Int64Range(int64(-time.Hour), int64(3*time.Hour)).Draw(p.rt, "late"))))
	}
	if rapid.Bool().Draw(p.rt, "conditions") {
		req.Conditions = p.conditions(-time.Hour)
	}
	return p.each(func(s *station.Station) error {
		_, err := s.ResumeRound(context.Background(), req)
		return err
	})
}

func (p *play) finish() error {
	req := &pb.FinishRoundRequest{RequestId: p.ID(), Round: p.round()}
	return p.each(func(s *station.Station) error {
		_, err := s.FinishRound(context.Background(), req)
		return err
	})
}

func (p *play) giveUp() error {
	req := &pb.GiveUpRoundRequest{RequestId: p.ID(), Round: p.round(), Note: "no time"}
	return p.each(func(s *station.Station) error {
		_, err := s.GiveUpRound(context.Background(), req)
		return err
	})
}

func (p *play) begin() error {
	step := rapid.SampledFrom([]string{"OIL-010/engine-flap", "PMP-010/pump"}).Draw(p.rt, "step")
	req := &pb.BeginStepRequest{RequestId: p.ID(), Round: p.round(), StepId: step}
	return p.each(func(s *station.Station) error {
		_, err := s.BeginStep(context.Background(), req)
		return err
	})
}

func (p *play) makeSafe() error {
	req := &pb.MakeSafeRequest{RequestId: p.ID(), Round: p.round()}
	for _, u := range p.Readiness(rapid.SampledFrom(vehicles).Draw(p.rt, "vehicle")).GetUndone() {
		req.StepIds = append(req.StepIds, u.GetStepId())
	}
	if len(req.StepIds) == 0 {
		return nil
	}
	return p.each(func(s *station.Station) error {
		_, err := s.MakeSafe(context.Background(), req)
		return err
	})
}

func (p *play) repair() error {
	for _, d := range p.Readiness(rapid.SampledFrom(vehicles).Draw(p.rt, "vehicle")).GetOpenDefects() {
		if rapid.Bool().Draw(p.rt, "this one") {
			_, err := p.RecordRepair(context.Background(), &pb.RecordRepairRequest{
				RequestId: p.ID(), Defect: d.GetName(), Person: "people/mechanic", Done: "mended",
			})
			return err
		}
	}
	return nil
}

// check compares the gauge of the pressures, which is not always found right.
func (p *play) check() error {
	_, err := p.CheckGauge(context.Background(), &pb.CheckGaugeRequest{RequestId: p.ID(), Gauge: "gauges/g-1", Check: &pb.GaugeCheck{
		Person: "people/mechanic", Reference: "dead weight tester", ReferenceValue: 800,
		Shown: rapid.SampledFrom([]float64{800, 830, 770}).Draw(p.rt, "shown"),
	}})
	return err
}

// apply changes what is in force, so that answers no longer fit, steps vanish
// and come back, and rules judge otherwise.
func (p *play) apply() error {
	p.packs++
	text := string(stationtest.Small()[0].Content)
	text = strings.Replace(text, `version: "1"`, fmt.Sprintf(`version: "%d"`, p.packs), 1)
	switch rapid.IntRange(0, 4).Draw(p.rt, "change") {
	case 0: // the dirty windscreen cannot be seen any more
		text = strings.Replace(text, "        - {id: \"02\", text: dirty, fault: GLA-010-02}\n", "", 1)
		text = cutBetween(text, "      - id: screen-dirty", "      - id: screen-shattered")
		text = strings.Replace(text, "        - {id: GLA-010-02, text: Windscreen dirty, driver_does: Clean it and look again., put_right_now: true, source: common practice}\n", "", 1)
	case 1: // the first vehicle has no pump
		text = strings.Replace(text, "    features: [pump]\n", "", 1)
	case 2: // low pressure is dangerous
		text = strings.Replace(text, "effect: EFFECT_RESPONDING_WITHOUT_LIMIT", "effect: EFFECT_MOVING", 1)
	case 3: // weekly things are required of the first vehicle too
		text = strings.Replace(text, "[routines/shift]", "[routines/shift, routines/weekly]", 1)
	}
	_, err := p.Apply(context.Background(), &pb.ApplyRequest{
		RequestId: p.ID(), Files: []*pb.NamedFile{{FileName: "small.yaml", Content: []byte(text)}},
	})
	return err
}

func cutBetween(text, from, to string) string {
	a, b := strings.Index(text, from), strings.Index(text, to)
	return text[:a] + text[b:]
}
