package round

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// scene is what the desk last read from the twin. It is replaced, never changed,
// so that views may share what it holds.
type scene struct {
	digest    string // of the library
	stations  map[string]*pb.Station
	people    []*pb.Person      // without their PINs, by name as spoken
	badges    map[string]string // whose a badge is, by its hash; empty where it is two people's
	hashes    map[string]string
	gauges    []*pb.Gauge // usable ones
	routines  []*pb.Routine
	curable   map[string]bool     // faults that can be put right on the spot
	refitted  map[string]bool     // items that are due at a wheel that was off
	after     map[string][]string // items that come before an item where both are due
	items     map[string]string   // what items of the catalogue are called
	closing   string              // the stop at which a check is closed
	vehicles  []*pb.VehicleConfiguration
	readiness map[string]*pb.Readiness // by the twin

	answers   []Answer // to what answersOf has reported
	answersOf string   // who is signed in, people/{person}, while answers can be shown

	with  []string  // items that the plan has beside its routine's
	plan  *pb.Plan  // of the round in hand, or of what was chosen; nil when nothing was
	round *pb.Round // in hand; nil when none is

	way   *pb.Walk // through the plan of the round in hand, or what is left of it; nil where none is known
	wayOf string   // what it was made for
}

// lookAround reads the twin anew. What cannot have changed is taken over from before.
func (d *Desk) lookAround(ctx context.Context, before *scene) (*scene, error) {
	sc := &scene{}
	if before != nil {
		*sc = *before
	}
	lib, err := d.twin.GetLibrary(ctx, &pb.GetLibraryRequest{KnownDigest: sc.digest})
	if err != nil {
		return nil, fmt.Errorf("read what is in force: %w", err)
	}
	if lib.GetLibrary() != nil {
		sc.takeLibrary(lib.GetDigest(), lib.GetLibrary(), d.station)
	}
	if err := d.lookAtVehicles(ctx, sc); err != nil {
		return nil, err
	}
	sc.answers, sc.answersOf = nil, d.answersTo()
	if sc.answersOf != "" {
		if sc.answers, err = d.lookAtAnswers(ctx, sc, sc.answersOf); err != nil {
			return nil, err
		}
	}
	return sc, d.lookAtRound(ctx, sc)
}

// takeLibrary takes what is in force.
func (sc *scene) takeLibrary(digest string, lib *pb.StationFile, station string) {
	sc.digest = digest
	sc.stations, sc.hashes, sc.curable, sc.refitted, sc.after = map[string]*pb.Station{}, map[string]string{}, map[string]bool{}, map[string]bool{}, map[string][]string{}
	sc.items = map[string]string{}
	sc.closing = closingStop(lib.GetCatalogue().GetStops())
	for _, s := range lib.GetStations() {
		sc.stations[s.GetName()] = s
	}
	sc.people, sc.badges = nil, badgeOwners(lib.GetPeople())
	for _, p := range lib.GetPeople() {
		sc.hashes[p.GetName()] = p.GetPinArgon2Id()
		sc.people = append(sc.people, &pb.Person{Name: p.GetName(), Title: p.GetTitle(), Roles: p.GetRoles(), Erased: p.GetErased()})
	}
	slices.SortFunc(sc.people, func(a, b *pb.Person) int {
		return cmp.Or(cmp.Compare(a.GetTitle(), b.GetTitle()), cmp.Compare(a.GetName(), b.GetName()))
	})
	sc.gauges, sc.routines = usable(lib.GetGauges()), lib.GetRoutines()
	for _, item := range lib.GetCatalogue().GetItems() {
		sc.after[item.GetId()], sc.items[item.GetId()] = item.GetAfter(), item.GetTitle()
		sc.refitted[item.GetId()] = slices.Contains(item.GetTriggers(), pb.Trigger_TRIGGER_AFTER_WHEEL_FITTED)
		for _, f := range item.GetFaults() {
			sc.curable[f.GetId()] = f.GetPutRightNow()
		}
	}
	sc.vehicles = nil
	for _, v := range lib.GetVehicles() {
		if station == "" || v.GetStation() == station {
			sc.vehicles = append(sc.vehicles, v)
		}
	}
}

// closingStop is the stop that comes last.
func closingStop(stops []*pb.Stop) string {
	if len(stops) == 0 {
		return ""
	}
	return slices.MaxFunc(stops, func(a, b *pb.Stop) int {
		return cmp.Or(cmp.Compare(a.GetOrder(), b.GetOrder()), cmp.Compare(a.GetId(), b.GetId()))
	}).GetId()
}

// lookAtVehicles reads the readiness of all vehicles shown.
func (d *Desk) lookAtVehicles(ctx context.Context, sc *scene) error {
	sc.readiness = make(map[string]*pb.Readiness, len(sc.vehicles))
	for _, v := range sc.vehicles {
		resp, err := d.twin.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: v.GetName()})
		if err != nil {
			return fmt.Errorf("read the readiness of %s: %w", v.GetName(), err)
		}
		sc.readiness[v.GetName()] = resp.GetReadiness()
	}
	return nil
}

// lookAtRound reads the plan of what was chosen and the round in hand.
func (d *Desk) lookAtRound(ctx context.Context, sc *scene) error {
	s, before := d.session, sc.plan
	sc.plan, sc.round, sc.with = nil, nil, nil
	if s.Vehicle == "" || s.Routine == "" {
		return nil
	}
	r, err := d.roundInHand(ctx, sc)
	if err != nil {
		return err
	}
	sc.with = along(sc.readiness[s.Vehicle], s.Routine)
	if r != nil {
		sc.with = r.GetWithItems()
	}
	resp, err := d.twin.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: s.Vehicle, Routine: s.Routine, WithItems: sc.with})
	if err != nil {
		return fmt.Errorf("read the plan of %s for %s: %w", s.Routine, s.Vehicle, err)
	}
	sc.plan = resp.GetPlan()
	if err := d.coolSteps(sc.plan); err != nil {
		return err
	}
	if r != nil {
		sc.round, sc.plan = r, planOfRound(before, sc.plan, r)
		d.lookAtWalk(ctx, sc)
	}
	return nil
}

// roundInHand is the round that was begun or is to be resumed; nil when there is none yet.
func (d *Desk) roundInHand(ctx context.Context, sc *scene) (*pb.Round, error) {
	s := d.session
	if s.Round == "" {
		return nil, nil
	}
	for _, r := range sc.readiness[s.Vehicle].GetRounds() {
		if r.GetName() == s.Round {
			return r, nil
		}
	}
	r, err := d.twin.GetRound(ctx, &pb.GetRoundRequest{Name: s.Round})
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", s.Round, err)
	}
	return r.GetRound(), nil
}

// planOfRound is the plan that a round was begun with, where it is still at hand:
// what is put in force in the middle of a round counts from the next one on.
func planOfRound(before, now *pb.Plan, r *pb.Round) *pb.Plan {
	if now.GetDigest() == r.GetPlanDigest() || before.GetDigest() != r.GetPlanDigest() {
		return now
	}
	kept := proto.CloneOf(before)
	for _, step := range kept.GetSteps() {
		for _, today := range now.GetSteps() {
			if today.GetStepId() == step.GetStepId() {
				step.Last = today.GetLast()
			}
		}
	}
	return kept
}

// live tells that a round has not ended.
func live(r *pb.Round) bool {
	return r.GetState() == pb.RoundState_ROUND_STATE_OPEN || r.GetState() == pb.RoundState_ROUND_STATE_PAUSED
}

func (sc *scene) vehicle(name string) *pb.VehicleConfiguration {
	i := slices.IndexFunc(sc.vehicles, func(v *pb.VehicleConfiguration) bool { return v.GetName() == name })
	if i < 0 {
		return nil
	}
	return sc.vehicles[i]
}

func (sc *scene) person(name string) *pb.Person {
	i := slices.IndexFunc(sc.people, func(p *pb.Person) bool { return p.GetName() == name })
	if i < 0 {
		return nil
	}
	return sc.people[i]
}

func (sc *scene) gauge(name string) *pb.Gauge {
	i := slices.IndexFunc(sc.gauges, func(g *pb.Gauge) bool { return g.GetName() == name })
	if i < 0 {
		return nil
	}
	return sc.gauges[i]
}

func (sc *scene) routine(name string) *pb.Routine {
	i := slices.IndexFunc(sc.routines, func(r *pb.Routine) bool { return r.GetName() == name })
	if i < 0 {
		return nil
	}
	return sc.routines[i]
}

// findRound finds a round that has not ended, on any vehicle shown.
func (sc *scene) findRound(name string) *pb.Round {
	for _, v := range sc.vehicles {
		for _, r := range sc.readiness[v.GetName()].GetRounds() {
			if r.GetName() == name {
				return r
			}
		}
	}
	return nil
}

// stepOf is a step of the plan; nil when it is not in it.
func (sc *scene) stepOf(id string) *pb.CheckStep {
	for _, step := range sc.plan.GetSteps() {
		if step.GetStepId() == id {
			return step
		}
	}
	return nil
}

// openAt are the defects that are open at a step.
func (sc *scene) openAt(vehicle, stepID string) (all []open) {
	for _, d := range sc.readiness[vehicle].GetOpenDefects() {
		if d.GetStepId() == stepID && verdict.IsOpen(d) {
			all = append(all, open{d.GetName(), sayDefect(d)})
		}
	}
	return all
}

// walk is what the marks of the round in hand follow from, in the order in which they are asked.
func (sc *scene) walk(s *session, now time.Time) walk {
	w := walk{
		steps: s.Way.order(sc.plan.GetSteps()), answered: map[string]bool{}, again: map[string]bool{}, found: map[string]bool{},
		noTime: s.LeftOut, engine: s.Engine, now: now,
	}
	for _, id := range sc.round.GetAnsweredSteps() {
		w.answered[id] = true
	}
	for _, id := range s.Again {
		w.again[id] = true
	}
	ready := sc.readiness[s.Vehicle]
	for _, d := range ready.GetOpenDefects() {
		if verdict.IsOpen(d) {
			w.found[d.GetStepId()] = true
		}
	}
	for _, r := range ready.GetReasons() {
		for _, id := range r.GetFinding().GetStepIds() {
			w.found[id] = true
		}
	}
	return w
}
