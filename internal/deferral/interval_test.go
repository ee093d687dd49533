package deferral

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// cs is where the lengths were read: the categories as the HKAR-MMEL/MEL Master
// Minimum Equipment List policy, section 2, paragraph 5, prints them (the same letters and days as
// EASA CS-MMEL), calendar day and day of discovery in EASA CS MMEL.105 (b) and (d).
const cs = "CS-MMEL rectification intervals"

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// found is a defect of one grade that the pack's rule lets wait so many days.
func found(at time.Time, grade pb.Grade, effect pb.Effect, days int32) *pb.Defect {
	return &pb.Defect{
		Name: "vehicles/p1/defects/a", StepId: "GLS-010/front", FirstFound: timestamppb.New(at),
		Findings: []*pb.Finding{{Pack: "packs/a", Rule: "r", Grade: grade, Effect: effect, LongestDeferralDays: days}},
	}
}

func packOf(minor, major pb.RepairInterval) *pb.RulePack {
	return &pb.RulePack{Name: "packs/a", Version: "1", Deferral: &pb.DeferralPolicy{
		Intervals: []*pb.DeferralInterval{
			{Grade: pb.Grade_GRADE_MINOR, Interval: minor, WhenOver: pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT},
			{Grade: pb.Grade_GRADE_MAJOR, Interval: major, WhenOver: pb.Effect_EFFECT_RESPONDING},
		},
		Warnings: []*durationpb.Duration{durationpb.New(48 * time.Hour), durationpb.New(4 * time.Hour)}, Extensions: 1,
		Systems: []*pb.DeferralSystem{{Id: "seeing", Title: "Seeing", Items: []string{"GLS", "LMP-010"}}},
	}}
}

const (
	a = pb.RepairInterval_REPAIR_INTERVAL_A
	b = pb.RepairInterval_REPAIR_INTERVAL_B
	c = pb.RepairInterval_REPAIR_INTERVAL_C
	d = pb.RepairInterval_REPAIR_INTERVAL_D
)

func TestRight_IntervalsAreThoseOfMMEL(t *testing.T) {
	london := zone(t, "Europe/London")
	for _, tc := range []struct {
		source   string
		found    string // local time
		interval pb.RepairInterval
		stated   int32
		want     pb.RepairInterval
		days     int32
		ends     string // local time; the midnight after the last day
	}{
		{cs + ", B: three calendar days, excluding the day of discovery", "2026-01-26 10:00", b, 120, b, 3, "2026-01-30 00:00"},
		{cs + ", B, found in the first second of a day", "2026-01-26 00:00", b, 120, b, 3, "2026-01-30 00:00"},
		{cs + ", B, found in the last minute of a day", "2026-01-26 23:59", b, 120, b, 3, "2026-01-30 00:00"},
		{cs + ", C: ten calendar days", "2026-01-26 10:00", c, 120, c, 10, "2026-02-06 00:00"},
		{cs + ", D: 120 calendar days", "2026-01-26 10:00", d, 120, d, 120, "2026-05-27 00:00"},
		{cs + ", A: as stated", "2026-01-26 10:00", a, 2, a, 2, "2026-01-29 00:00"},
		{"the shorter counts: stated by the rule", "2026-01-26 10:00", d, 14, a, 14, "2026-02-10 00:00"},
		{"the shorter counts: the grade's", "2026-01-26 10:00", c, 14, c, 10, "2026-02-06 00:00"},
		{"calendar: 2028 is a leap year", "2028-02-27 10:00", b, 3, b, 3, "2028-03-02 00:00"},
		{"clocks go forward on 29 March 2026 (EU Directive 2000/84/EC)", "2026-03-28 10:00", b, 3, b, 3, "2026-04-01 00:00"},
		{"clocks go back on 25 October 2026 (EU Directive 2000/84/EC)", "2026-10-23 10:00", b, 3, b, 3, "2026-10-27 00:00"},
	} {
		t.Run(tc.source, func(t *testing.T) {
			at, err := time.ParseInLocation("2006-01-02 15:04", tc.found, london)
			if err != nil {
				t.Fatal(err)
			}
			of := Case{Defect: found(at, pb.Grade_GRADE_MAJOR, pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT, tc.stated), Pack: packOf(d, tc.interval), Zone: london}
			right := of.Right()
			if !right.GetAllowed() || right.GetInterval() != tc.want || right.GetDays() != tc.days {
				t.Errorf("%v", right)
			}
			if got := right.GetLatest().AsTime().In(london).Format("2006-01-02 15:04"); got != tc.ends {
				t.Errorf("it ends at %s, want %s", got, tc.ends)
			}
		})
	}
}

// Over a change of clocks an interval is an hour shorter or longer: in UTC its ends
// are not whole days apart.
func TestLatest_AcrossAChangeOfClocks(t *testing.T) {
	london := zone(t, "Europe/London")
	for _, tc := range []struct {
		source    string
		found     time.Time
		wantInUTC time.Time
	}{
		{"summer time begins 29 March 2026, 01:00 UTC", time.Date(2026, 3, 28, 10, 0, 0, 0, time.UTC), time.Date(2026, 3, 31, 23, 0, 0, 0, time.UTC)},
		{"summer time ends 25 October 2026, 01:00 UTC", time.Date(2026, 10, 23, 10, 0, 0, 0, time.UTC), time.Date(2026, 10, 27, 0, 0, 0, 0, time.UTC)},
		{"the day of discovery is the local one: 23:30 UTC is the next day in summer", time.Date(2026, 7, 1, 23, 30, 0, 0, time.UTC), time.Date(2026, 7, 5, 23, 0, 0, 0, time.UTC)},
	} {
		if got := Latest(tc.found, 3, london); !got.Equal(tc.wantInUTC) {
			t.Errorf("%s: %v, want %v", tc.source, got.UTC(), tc.wantInUTC)
		}
	}
}

// Where clocks are changed at midnight the day after the last one has no midnight, or two,
// or the evening before is lived twice. It ends at the first instant of that day. Source of
// the changes: the IANA time zone database, files africa, northamerica and asia.
func TestLatest_WhereClocksAreChangedAtMidnight(t *testing.T) {
	for _, tc := range []struct {
		source, zone string
		found        time.Time
		wantInUTC    time.Time
	}{
		{"Egypt, last Friday of April, 00:00 becomes 01:00", "Africa/Cairo", time.Date(2026, 4, 20, 8, 0, 0, 0, time.UTC), time.Date(2026, 4, 23, 22, 0, 0, 0, time.UTC)},
		{"Cuba, second Sunday of March, 00:00 becomes 01:00", "America/Havana", time.Date(2026, 3, 4, 15, 0, 0, 0, time.UTC), time.Date(2026, 3, 8, 5, 0, 0, 0, time.UTC)},
		{"Cuba, first Sunday of November, 01:00 becomes 00:00", "America/Havana", time.Date(2026, 10, 28, 15, 0, 0, 0, time.UTC), time.Date(2026, 11, 1, 4, 0, 0, 0, time.UTC)},
		{"Lebanon, last Sunday of October, 00:00 becomes 23:00", "Asia/Beirut", time.Date(2026, 10, 21, 8, 0, 0, 0, time.UTC), time.Date(2026, 10, 24, 22, 0, 0, 0, time.UTC)},
	} {
		in := zone(t, tc.zone)
		got := Latest(tc.found, 3, in)
		if !got.Equal(tc.wantInUTC) {
			t.Errorf("%s: %v, want %v", tc.source, got, tc.wantInUTC.In(in))
		}
		if last := got.Add(-time.Second); last.In(in).Day() == got.In(in).Day() {
			t.Errorf("%s: a second before, at %v, it is that day already", tc.source, last)
		}
	}
}

func TestRight_WhatNeverWaits(t *testing.T) {
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	minor := func(change func(*pb.Defect)) *pb.Defect {
		of := found(at, pb.Grade_GRADE_MINOR, pb.Effect_EFFECT_NOTHING, 14)
		change(of)
		return of
	}
	finding := func(f *pb.Finding) func(*pb.Defect) {
		return func(of *pb.Defect) { of.Findings = append(of.Findings, f) }
	}
	for name, tc := range map[string]struct {
		defect *pb.Defect
		pack   *pb.RulePack
	}{
		"no pack says anything":             {minor(func(*pb.Defect) {}), nil},
		"dangerous":                         {found(at, pb.Grade_GRADE_DANGEROUS, pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT, 3), packOf(d, c)},
		"against moving":                    {found(at, pb.Grade_GRADE_MAJOR, pb.Effect_EFFECT_MOVING, 3), packOf(d, c)},
		"nobody could work it out":          {found(at, pb.Grade_GRADE_MAJOR, pb.Effect_EFFECT_UNSPECIFIED, 3), packOf(d, c)},
		"the rule does not let it wait":     {found(at, pb.Grade_GRADE_MAJOR, pb.Effect_EFFECT_NOTHING, 0), packOf(d, c)},
		"one of several rules does not":     {minor(finding(&pb.Finding{Pack: "packs/a", Rule: "s", Grade: pb.Grade_GRADE_MINOR, Effect: pb.Effect_EFFECT_NOTHING})), packOf(d, c)},
		"another authority's off the run":   {minor(finding(&pb.Finding{Pack: "packs/law", Grade: pb.Grade_GRADE_MINOR, Effect: pb.Effect_EFFECT_RESPONDING})), packOf(d, c)},
		"dangerous to another authority":    {minor(finding(&pb.Finding{Pack: "packs/law", Grade: pb.Grade_GRADE_DANGEROUS, Effect: pb.Effect_EFFECT_NOTHING})), packOf(d, c)},
		"only another authority speaks":     {minor(func(of *pb.Defect) { of.Findings[0].Pack = "packs/law" }), packOf(d, c)},
		"somebody stopped the vehicle":      {minor(func(of *pb.Defect) { of.Stop = &pb.VehicleStop{} }), packOf(d, c)},
		"the pack names no interval for it": {minor(func(*pb.Defect) {}), &pb.RulePack{Name: "packs/a", Deferral: &pb.DeferralPolicy{}}},
	} {
		right := Case{Defect: tc.defect, Pack: tc.pack, Zone: time.UTC}.Right()
		if right.GetAllowed() || right.GetWhyNot() == "" || right.GetLatest() != nil {
			t.Errorf("%s: %v", name, right)
		}
	}
	limited := minor(finding(&pb.Finding{Pack: "packs/law", Grade: pb.Grade_GRADE_MINOR, Effect: pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT}))
	if right := (Case{Defect: limited, Pack: packOf(d, c), Zone: time.UTC}).Right(); !right.GetAllowed() || !right.GetNeedsRestriction() || right.GetDays() != 14 {
		t.Errorf("limited by another authority: %v, want 14 days under a limit", right)
	}
}

func TestUntil_TellsWhatFollows(t *testing.T) {
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	of := Case{Defect: found(at, pb.Grade_GRADE_MAJOR, pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT, 10), Pack: packOf(d, c), Zone: time.UTC}
	other := found(at, pb.Grade_GRADE_MINOR, pb.Effect_EFFECT_NOTHING, 3)
	other.Name, other.StepId = "vehicles/p1/defects/b", "LMP-010/front"
	elsewhere := found(at, pb.Grade_GRADE_MINOR, pb.Effect_EFFECT_NOTHING, 3)
	elsewhere.Name, elsewhere.StepId = "vehicles/p1/defects/c", "LMP-020/front"
	of.Deferred = []*pb.Defect{elsewhere, other, of.Defect}
	right := of.Right()
	if right.GetSystem() != "Seeing" || len(right.GetTogetherWith()) != 1 || right.GetTogetherWith()[0] != other.GetName() {
		t.Errorf("together with %v on %q", right.GetTogetherWith(), right.GetSystem())
	}
	latest := right.GetLatest().AsTime()
	for _, tc := range []struct {
		expires    time.Time
		extensions int32
	}{
		{latest.Add(-time.Second), 0},
		{latest, 0},
		{latest.Add(time.Second), 1},
		{right.GetLatestExtended().AsTime(), 1},
	} {
		decided := of.Until(tc.expires, right)
		if decided.GetExtensions() != tc.extensions || !decided.GetExpires().AsTime().Equal(tc.expires) {
			t.Errorf("until %v: %d extensions, want %d", tc.expires, decided.GetExtensions(), tc.extensions)
		}
		first := decided.GetWarnFrom()[0].AsTime()
		if len(decided.GetWarnFrom()) != 2 || !first.Equal(tc.expires.Add(-48*time.Hour)) {
			t.Errorf("warned from %v", decided.GetWarnFrom())
		}
		if decided.GetWhenOver() != pb.Effect_EFFECT_RESPONDING || decided.GetEffect() != pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT || decided.GetGrade() != pb.Grade_GRADE_MAJOR {
			t.Errorf("%v", decided)
		}
	}
}
