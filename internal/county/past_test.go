package county_test

import (
	"context"
	"slices"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/county"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// today is a day on which the demonstration might run.
var today = time.Date(2026, 2, 3, 7, 0, 0, 0, time.UTC)

// lived is a station with the whole past in it, and all it was told.
type lived struct {
	t *testing.T
	*station.Station
	clock *county.Clock
	count county.Count
	told  []county.Told // oldest day first
}

// live opens a station of the county and lives through its past, once for all
// tests of what came of it: it takes a while.
func live(t *testing.T) *lived {
	t.Helper()
	clock := county.NewClock(county.Begin(today))
	st, err := station.Open(t.Context(), station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: stationtest.Demo(t)})
	if err != nil {
		t.Fatalf("opening a station: %v", err)
	}
	t.Cleanup(func() {
		if err := st.Close(); err != nil {
			t.Errorf("closing the station: %v", err)
		}
	})
	l := &lived{t: t, Station: st, clock: clock}
	var one sync.Mutex
	past := county.Past{Station: st, Clock: clock, Now: today, Heard: func(told county.Told) {
		one.Lock()
		defer one.Unlock()
		l.told = append(l.told, told)
	}}
	if l.count, err = past.Live(t.Context()); err != nil {
		t.Fatalf("living through the past: %v", err)
	}
	t.Logf("lived through %+v", l.count)
	return l
}

// on is an hour so many days before today.
func on(ago int, hour time.Duration) time.Time {
	return today.Truncate(county.Day).Add(-time.Duration(ago) * county.Day).Add(hour)
}

// readiness of a vehicle at an instant.
func (l *lived) readiness(vehicle string, at time.Time) *pb.Readiness {
	l.t.Helper()
	resp, err := l.GetReadiness(context.Background(), &pb.GetReadinessRequest{Vehicle: vehicle, AsOf: timestamppb.New(at)})
	if err != nil {
		l.t.Fatalf("readiness of %s at %v: %v", vehicle, at, err)
	}
	return resp.GetReadiness()
}

// heard tells what was told of a vehicle at a step on a day.
func (l *lived) heard(vehicle, step string, ago int) (all []county.Told) {
	for _, told := range l.told {
		if told.Vehicle == vehicle && told.Result.GetStepId() == step && told.Ago == ago {
			all = append(all, told)
		}
	}
	return all
}

func TestLive(t *testing.T) {
	l := live(t)
	t.Run("every hidden fault is found in time", l.everyHiddenFaultIsFound)
	t.Run("oil use is seen by distance and hours", l.oilUseIsSeenByDistanceAndHours)
	t.Run("few alarms are false", l.falseAlarms)
	t.Run("judging G-03's readings anew finds three verdicts that were too good", l.rejudged)
	t.Run("every round has ended", l.everyRoundEnded)
	t.Run("no defect is left but charge and air loss of WN31", l.defectsLeft)
	t.Run("events bear the day on which they happened", l.eventsBearTheirDay)
	t.Run("three drivers top up the leaking tyre", l.threeTopUps)
	t.Run("the indicator is one defect, found seven times", l.indicator)
	t.Run("forty-one readings were taken with G-03 after it fell", l.readingsWithDroppedGauge)
	t.Run("a warm engine leaves oil and tyres open", l.warmCheck)
	t.Run("a call interrupts the air test", l.interrupted)
	t.Run("ninety-three answers in 130 seconds are noted", l.tooFast)
	t.Run("what a tablet had without a network comes late and keeps its time", l.offline)
}

func (l *lived) everyRoundEnded(t *testing.T) {
	rounds, token := 0, ""
	for {
		page, err := l.ListRounds(t.Context(), &pb.ListRoundsRequest{PageSize: 200, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range page.GetRounds() {
			rounds++
			if r.GetState() != pb.RoundState_ROUND_STATE_FINISHED {
				t.Errorf("%s of %s, opened %v, is %v", r.GetName(), r.GetVehicle(), r.GetOpened().AsTime(), r.GetState())
			}
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	if int64(rounds) != l.count.Rounds || int64(len(l.told)) != l.count.Results {
		t.Errorf("%d rounds and %d answers are there, but %+v were told", rounds, len(l.told), l.count)
	}
}

func (l *lived) defectsLeft(t *testing.T) {
	all, err := l.ListReadiness(t.Context(), &pb.ListReadinessRequest{PageSize: 200})
	if err != nil {
		t.Fatal(err)
	}
	var left []string
	for _, r := range all.GetReadiness() {
		for _, d := range r.GetOpenDefects() {
			left = append(left, r.GetCallSign()+" "+d.GetStepId())
			if a := d.GetAcknowledgement(); a.GetPerson() != "people/steddow" || !a.GetPlanned().AsTime().After(d.GetFirstFound().AsTime()) {
				t.Errorf("who reported %s was answered %v", d.GetName(), a)
			}
		}
	}
	slices.Sort(left)
	if want := []string{"WN31 BRA-130/driver-seat", "WN31 HVE-010/driver-seat"}; !slices.Equal(left, want) {
		t.Errorf("on the last evening these are open: %q, want %q", left, want)
	}
}

func (l *lived) eventsBearTheirDay(t *testing.T) {
	first := l.readiness("vehicles/wn21", on(county.Days+1, 21*time.Hour))
	if first.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || first.GetSequence() == 0 {
		t.Errorf("before the first day WN21 is %v by event %d", first.GetVerdict(), first.GetSequence())
	}
	leaking := func(ago int) bool {
		r := l.readiness("vehicles/wn21", on(ago, 23*time.Hour))
		return slices.ContainsFunc(r.GetOpenDefects(), func(d *pb.Defect) bool {
			return d.GetStepId() == leakingWheel && (d.GetState() == pb.DefectState_DEFECT_STATE_OPEN || d.GetState() == pb.DefectState_DEFECT_STATE_ACKNOWLEDGED)
		})
	}
	if !leaking(26) || leaking(25) || leaking(24) {
		t.Errorf("the leak is open on D-26: %t, D-25: %t, D-24: %t; the workshop drew the nail on D-25", leaking(26), leaking(25), leaking(24))
	}
}

const leakingWheel = "TYR-121/axle-2-offside-inner"

func (l *lived) threeTopUps(t *testing.T) {
	people := map[string]float64{}
	for _, told := range l.told {
		if told.Vehicle == "vehicles/wn21" && told.Result.GetStepId() == leakingWheel && told.Ago <= 63 && told.Ago > 25 && told.Result.GetCure() != nil {
			people[told.Result.GetPerson()] += told.Result.GetCure().GetAmount()
		}
	}
	if len(people) != 3 {
		t.Errorf("topped up by %v, want three drivers", people)
	}
	for person, put := range people {
		if put < 0.3 || put > 0.5 {
			t.Errorf("%s added %g bar, want 0.3 to 0.5", person, put)
		}
	}
}

func (l *lived) indicator(t *testing.T) {
	const lamp = "LMP-040/indicator-rear-nearside"
	found, notes := 0, map[string]bool{}
	for _, told := range l.told {
		if told.Vehicle == "vehicles/wn11" && told.Result.GetStepId() == lamp && len(told.Findings) > 0 {
			found++
			notes[told.Result.GetNote()] = true
		}
	}
	if found != 7 || len(notes) != 4 {
		t.Errorf("the indicator was reported %d times in %d wordings", found, len(notes))
	}
}

func (l *lived) readingsWithDroppedGauge(t *testing.T) {
	readings := map[string]int{}
	for _, told := range l.told {
		if told.Result.GetGauge() == "gauges/g-03" {
			readings[told.Vehicle]++
			if told.Ago > 75 || told.Ago < 9 {
				t.Errorf("%s was read with it on D-%d", told.Vehicle, told.Ago)
			}
		}
	}
	if readings["vehicles/wn11"]+readings["vehicles/wn12"]+readings["vehicles/wn32"] != 41 || len(readings) != 3 {
		t.Errorf("readings by vehicle: %v, want 41 of WN11, WN12 and WN32", readings)
	}
	gauges, err := l.ListGauges(t.Context(), &pb.ListGaugesRequest{PageSize: 200})
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range gauges.GetGauges() {
		checks := g.GetChecks()
		if g.GetName() == "gauges/g-03" {
			if n := len(checks); n < 2 || checks[n-1].GetGood() || !checks[n-2].GetGood() {
				t.Errorf("checks of G-03: %v", checks)
			}
		} else if len(checks) > 0 {
			t.Errorf("%s was checked %d times", g.GetName(), len(checks))
		}
	}
}

func (l *lived) warmCheck(t *testing.T) {
	oil := l.heard("vehicles/wn12", "FLU-010/engine-oil", 33)
	if len(oil) < 2 || oil[0].Result.GetNotChecked().GetReason() != pb.NotCheckedReason_NOT_CHECKED_REASON_ENGINE_WARM || oil[1].Result.GetLevel() == nil {
		t.Fatalf("the oil on D-33: %v", oil)
	}
	if later := oil[1].Result.GetDeviceTime().AsTime().Sub(oil[0].Result.GetDeviceTime().AsTime()); later < 4*time.Hour {
		t.Errorf("the oil was read %v after it was too warm", later)
	}
}

func (l *lived) interrupted(t *testing.T) {
	during := l.readiness("vehicles/wn11", on(1, 20*time.Hour))
	i := slices.IndexFunc(during.GetRounds(), func(r *pb.Round) bool { return r.GetState() == pb.RoundState_ROUND_STATE_PAUSED })
	if i < 0 {
		t.Errorf("at 20:00 on D-1 no round of WN11 is paused: %v", during.GetRounds())
	}
}

func (l *lived) tooFast(t *testing.T) {
	page, err := l.ListRounds(t.Context(), &pb.ListRoundsRequest{PageSize: 200, Vehicle: "vehicles/wn31"})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(page.GetRounds(), func(r *pb.Round) bool { return r.GetAnswered() == 93 })
	if i < 0 {
		t.Fatal("no round of WN31 has 93 answers")
	}
	if r := page.GetRounds()[i]; r.GetAnsweredTooFast() < 80 || r.GetAssistant() != "" {
		t.Errorf("%d of 93 answers came too fast, with assistant %q", r.GetAnsweredTooFast(), r.GetAssistant())
	}
}

func (l *lived) offline(t *testing.T) {
	wiper := l.heard("vehicles/wn32", "GLS-020/wiper-offside", 7)
	if len(wiper) != 1 {
		t.Fatalf("the wiper of WN32 on D-7: %v", wiper)
	}
	before, after := l.readiness("vehicles/wn32", on(7, 12*time.Hour)), l.readiness("vehicles/wn32", on(7, 14*time.Hour))
	open := func(r *pb.Readiness) bool {
		return slices.ContainsFunc(r.GetOpenDefects(), func(d *pb.Defect) bool { return d.GetStepId() == "GLS-020/wiper-offside" })
	}
	if open(before) || !open(after) {
		t.Errorf("the station knew of the wiper at noon: %t, at two: %t", open(before), open(after))
	}
	if looked := wiper[0].Result.GetDeviceTime().AsTime(); looked.After(on(7, 9*time.Hour)) {
		t.Errorf("the tablet says it was seen at %v", looked)
	}
}
