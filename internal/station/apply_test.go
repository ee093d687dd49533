package station_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"bayround/internal/catalogue"
	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

func TestApply_SaysWhatChanges(t *testing.T) {
	k := stationtest.Open(t)
	altered := k.Altered("call_sign: Q1", "call_sign: Q7", "{id: \"01\", text: cracked,", "{id: \"01\", text: split,",
		"title: Driver,", "title: A Driver,", "    capabilities: [pump]\n", "    capabilities: [pump, crew seat]\n")
	more := &pb.NamedFile{FileName: "more.yaml", Content: []byte("people:\n  - {name: people/new, title: New, roles: [ROLE_DRIVER]}\n")}
	for _, only := range []bool{true, false, false} {
		before := events(t, k)
		resp, err := k.Apply(ctx, &pb.ApplyRequest{RequestId: k.ID(), Files: append(altered, more), ValidateOnly: only})
		if err != nil {
			t.Fatal(err)
		}
		if only {
			checkChanges(t, resp)
			if events(t, k) != before || resp.GetSequence() != 0 {
				t.Errorf("only to be checked, and %d events more, sequence %d", events(t, k)-before, resp.GetSequence())
			}
		}
	}
	resp, err := k.Apply(ctx, &pb.ApplyRequest{RequestId: k.ID(), Files: append(altered, more)})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range resp.GetChanges() {
		if c.GetKind() != pb.ChangeKind_CHANGE_KIND_SAME || len(c.GetDetails()) > 0 {
			t.Errorf("applied a third time: %v", c)
		}
	}
}

func checkChanges(t *testing.T, resp *pb.ApplyResponse) {
	t.Helper()
	kinds, details := map[string]pb.ChangeKind{}, map[string]string{}
	var names []string
	for _, c := range resp.GetChanges() {
		names = append(names, c.GetName())
		kinds[c.GetName()], details[c.GetName()] = c.GetKind(), strings.Join(c.GetDetails(), "\n")
	}
	if !slices.IsSorted(names) || len(names) != 15 {
		t.Errorf("changes of %v, want all 15 things of the files by name", names)
	}
	for name, want := range map[string]struct {
		kind    pb.ChangeKind
		details string
	}{
		"people/new":     {pb.ChangeKind_CHANGE_KIND_ADDED, ""},
		"people/driver":  {pb.ChangeKind_CHANGE_KIND_CHANGED, "title: given → another one given"},
		"people/other":   {pb.ChangeKind_CHANGE_KIND_SAME, ""},
		"catalogue":      {pb.ChangeKind_CHANGE_KIND_CHANGED, `items[GLA-010].conditions[01].text: "cracked" → "split"`},
		"vehicles/p1":    {pb.ChangeKind_CHANGE_KIND_CHANGED, "call_sign: \"Q1\" → \"Q7\"\ncapabilities: [\"pump\"] → [\"pump\", \"crew seat\"]"},
		"packs/house":    {pb.ChangeKind_CHANGE_KIND_SAME, ""},
		"routines/shift": {pb.ChangeKind_CHANGE_KIND_SAME, ""},
	} {
		if kinds[name] != want.kind || details[name] != want.details {
			t.Errorf("%s: %v %q, want %v %q", name, kinds[name], details[name], want.kind, want.details)
		}
	}
}

// Revisions count up when a vehicle changes, and only then; former ones stay
// readable.
func TestApply_Revisions(t *testing.T) {
	k := stationtest.Open(t)
	k.ApplyAltered("call_sign: Q1", "call_sign: Q7")
	k.ApplyAltered("call_sign: Q1", "call_sign: Q7")
	k.ApplyAltered("call_sign: Q1", "call_sign: Q8")
	k.Reopen()
	for _, tc := range []struct {
		vehicle  string
		asked    int64
		revision int64
		callSign string
	}{{p1, 0, 3, "Q8"}, {p1, 3, 3, "Q8"}, {p1, 2, 2, "Q7"}, {p1, 1, 1, "Q1"}, {p2, 0, 1, "Q2"}} {
		resp, err := k.GetVehicle(ctx, &pb.GetVehicleRequest{Name: tc.vehicle, Revision: tc.asked})
		if v := resp.GetVehicle(); err != nil || v.GetRevision() != tc.revision || v.GetCallSign() != tc.callSign {
			t.Errorf("%s revision %d: %d %s, %v; want %d %s", tc.vehicle, tc.asked, v.GetRevision(), v.GetCallSign(), err, tc.revision, tc.callSign)
		}
	}
	_, err := k.GetVehicle(ctx, &pb.GetVehicleRequest{Name: p1, Revision: 4})
	refusal{fault.NotFound, "REVISION_UNKNOWN"}.check(t, err)
	_, err = k.GetVehicle(ctx, &pb.GetVehicleRequest{Name: "vehicles/p9"})
	refusal{fault.NotFound, "VEHICLE_UNKNOWN"}.check(t, err)

	// A file that was made from a revision says which; a stale one is refused.
	_, err = k.Apply(ctx, &pb.ApplyRequest{RequestId: k.ID(), Files: k.Altered("call_sign: Q1", "call_sign: Q9\n    revision: 2")})
	refusal{fault.Stale, "REVISION_STALE"}.check(t, err)
	_, err = k.Apply(ctx, &pb.ApplyRequest{RequestId: k.ID(), Files: k.Altered("call_sign: Q1", "call_sign: Q9\n    revision: 3")})
	refusal{}.check(t, err)
}

// What is wrong is refused whole, with the place of everything that is wrong;
// what was in force stays.
func TestApply_RefusesWhole(t *testing.T) {
	for _, tc := range []struct{ name, old, new, at, says string }{ // at: the text at whose line and column it is
		{"not YAML", "stations:\n", "stations: [\n", "", ""},
		{"a rule of the proto", "call_sign: Q1", "call_sign: ''", "''", "call_sign"},
		{"an unknown pack", "rule_packs: [packs/house]", "rule_packs: [packs/none]", "packs/none", "packs/none"},
		{"an expression that is none", "o.level_below", "o.level_below &&", "o.level_below &&", "oil-low"},
		{"an expression of the wrong type", "o.level_below", "o.level", "o.level", "oil-low"},
		{"an unknown fault", "names_fault: OIL-010-01", "names_fault: OIL-010-09", "OIL-010-09", "OIL-010-09"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			k := stationtest.Open(t)
			before, size := exact(k.Readiness(p1)), events(t, k)
			files := k.Altered(tc.old, tc.new, "title: Driver,", "title: Changed,")
			_, err := k.Apply(ctx, &pb.ApplyRequest{RequestId: k.ID(), Files: files})
			refusal{fault.Invalid, "CONFIGURATION_REFUSED"}.check(t, err)
			var f *fault.Fault
			if want := placeOf(string(files[0].GetContent()), tc.at); !errors.As(err, &f) || !slices.ContainsFunc(f.Fields, func(field fault.Field) bool {
				return strings.HasPrefix(field.Path, want) && strings.Contains(field.Message, tc.says)
			}) {
				t.Errorf("no field %q that says %q in %+v", want, tc.says, f)
			}
			if string(before) != string(exact(k.Readiness(p1))) || events(t, k) != size {
				t.Error("something was put in force all the same")
			}
			people, err := k.ListPeople(ctx, &pb.ListPeopleRequest{})
			if err != nil || people.GetPeople()[0].GetTitle() != "Driver" {
				t.Errorf("people: %v, %v", people, err)
			}
		})
	}
}

// placeOf says where a text stands, as a problem's place begins; only the file
// for no text.
func placeOf(content, text string) string {
	if text == "" {
		return "small.yaml:"
	}
	before, _, _ := strings.Cut(content, text)
	return fmt.Sprintf("small.yaml:%d:%d", strings.Count(before, "\n")+1, len(before)-strings.LastIndex(before, "\n"))
}

// A catalogue that would leave a pack in force without its faults is refused,
// and the pack is named.
func TestApply_MayNotBreakWhatIsInForce(t *testing.T) {
	k := stationtest.Open(t)
	text := string(k.Altered()[0].Content)
	alone := text[strings.Index(text, "catalogue:"):strings.Index(text, "routines:")]
	alone = strings.Replace(alone, `        - {id: "03", text: shattered, fault: GLA-010-03}`+"\n", "", 1)
	alone = strings.Replace(alone, "        - {id: GLA-010-03, text: Windscreen shattered, driver_does: Stop here., source: common practice}\n", "", 1)
	_, err := k.Apply(ctx, &pb.ApplyRequest{RequestId: k.ID(), Files: []*pb.NamedFile{{FileName: "catalogue.yaml", Content: []byte(alone)}}})
	refusal{fault.Invalid, "CONFIGURATION_REFUSED"}.check(t, err)
	if err == nil || !strings.Contains(err.Error(), "packs/house") {
		t.Errorf("the pack is not named: %v", err)
	}
}

// A change of the rules changes the verdict at once, on the results that are there.
func TestApply_JudgesAnew(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, stationtest.Read(tyre, "pressure", 7.2, "bar"))
	if v := k.Readiness(p1).GetVerdict(); v != pb.Verdict_VERDICT_FIT {
		t.Fatalf("verdict %v with 720 kPa, want FIT", v)
	}
	k.ApplyAltered("o.value < 700.0", "o.value < 750.0", `version: "1"`, `version: "2"`)
	r := k.Readiness(p1)
	if r.GetVerdict() != pb.Verdict_VERDICT_RESTRICTED || r.GetRulePacks()[0] != "packs/house@2" {
		t.Errorf("verdict %v by %v, want RESTRICTED by packs/house@2", r.GetVerdict(), r.GetRulePacks())
	}
	if len(r.GetOpenDefects()) != 0 {
		t.Errorf("no result was recorded under the new rules, and yet %v", r.GetOpenDefects())
	}
}

func TestDefaults(t *testing.T) {
	dir, clock := t.TempDir(), stationtest.NewClock()
	files := func(oldNew ...string) []catalogue.File {
		text := strings.NewReplacer(oldNew...).Replace(string(stationtest.Small()[0].Content))
		return []catalogue.File{{Name: "small.yaml", Content: []byte(text)}}
	}
	open := func(defaults []catalogue.File) *stationtest.Kit {
		return stationtest.OpenWith(t, clock, station.Options{Dir: dir, Now: clock.Now, Defaults: defaults})
	}
	callSigns := func(k *stationtest.Kit) string {
		resp, err := k.ListVehicles(ctx, &pb.ListVehiclesRequest{})
		if err != nil {
			t.Fatal(err)
		}
		return resp.GetVehicles()[0].GetCallSign() + " " + resp.GetVehicles()[1].GetCallSign()
	}
	var size int
	check := func(k *stationtest.Kit, want string, more int) {
		t.Helper()
		if got := callSigns(k); got != want {
			t.Errorf("call signs %s, want %s", got, want)
		}
		if n := events(t, k); n != size+more {
			t.Errorf("%d events more, want %d", n-size, more)
		}
		size = events(t, k)
		k.Close()
	}
	k := open(files())
	check(k, "Q1 Q2", 14)
	check(open(files()), "Q1 Q2", 0)
	check(open(files("call_sign: Q2", "call_sign: D2")), "Q1 D2", 1) // newer defaults
	check(open(files()), "Q1 Q2", 1)                                 // and back again

	k = open(files())
	k.ID() // the id of the first kit's commands is taken
	mine := k.Altered("call_sign: Q1", "call_sign: M1")
	if _, err := k.Apply(context.Background(), &pb.ApplyRequest{RequestId: "00000000-0000-4000-8000-999999999999", Files: mine}); err != nil {
		t.Fatal(err)
	}
	check(k, "M1 Q2", 1)
	check(open(files("call_sign: Q1", "call_sign: D1", "call_sign: Q2", "call_sign: D2")), "M1 D2", 1) // what a person applied stays
	check(open(nil), "M1 D2", 0)
}

// Defaults that no longer fit to what people applied do not keep a station
// from starting; a new station cannot start with bad ones.
func TestDefaults_ThatDoNotFit(t *testing.T) {
	dir, clock := t.TempDir(), stationtest.NewClock()
	bad := []catalogue.File{{Name: "bad.yaml", Content: []byte("routines:\n  - {name: routines/x, title: x, items: [NON-010]}\n")}}
	if _, err := station.Open(ctx, station.Options{Dir: t.TempDir(), Defaults: bad}); !fault.Is(err, fault.Invalid) {
		t.Errorf("a new station with bad defaults: %v", err)
	}
	k := stationtest.OpenWith(t, clock, station.Options{Dir: dir, Now: clock.Now, Defaults: stationtest.Small()})
	k.Close()
	k = stationtest.OpenWith(t, clock, station.Options{Dir: dir, Now: clock.Now, Defaults: bad})
	if v := k.Readiness(p1).GetVerdict(); v != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("verdict %v", v)
	}
}

// Many small things need more room beside them than they have themselves; what
// the journal cannot store at once is refused, and the station goes on.
func TestApply_RefusesTooManyThings(t *testing.T) {
	k := stationtest.Open(t)
	var text strings.Builder
	text.WriteString("people:\n")
	for i := range 3000 {
		fmt.Fprintf(&text, "  - {name: people/p-%04d, title: P, roles: [ROLE_DRIVER]}\n", i)
	}
	_, err := k.Apply(ctx, &pb.ApplyRequest{RequestId: k.ID(), Files: []*pb.NamedFile{{FileName: "people.yaml", Content: []byte(text.String())}}})
	refusal{fault.Invalid, "APPLY_TOO_LARGE"}.check(t, err)
	k.OpenRound(p1, shift)
}
