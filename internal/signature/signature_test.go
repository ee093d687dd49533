package signature_test

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"bayround/internal/signature"
	pb "bayround/proto/bayround/v1"
)

// round is a round with everything in it that a signature is over.
func round(results ...*pb.Result) *pb.RoundContent {
	r := &pb.Round{Name: "rounds/1", Vehicle: "vehicles/p1", Routine: "routines/shift", Driver: "people/driver", Assistant: "people/other", Device: "tablet-1"}
	stood := &pb.RoundConditions{EngineStopped: at(0), AmbientCelsius: proto.Float64(-3.5)}
	return signature.Content(r, []*pb.RoundConditions{{}, stood}, signature.Newest(results))
}

func at(minute int) *timestamppb.Timestamp {
	return timestamppb.New(time.Date(2026, 2, 2, 7, minute, 0, 0, time.UTC))
}

func result(id, step string) *pb.Result {
	return &pb.Result{
		ResultId: id, StepId: step, Person: "people/driver", Device: "tablet-1", DeviceTime: at(3), Note: "as read", LookedS: 4,
		Answer: &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{{Part: "pressure", AsTyped: 8.2, Unit: "bar"}}}},
	}
}

func shown() *pb.ShownToSigner {
	return signature.Shown(&pb.Readiness{
		Verdict: pb.Verdict_VERDICT_RESTRICTED, Reasons: []*pb.Reason{{Text: "a lamp is out"}},
		OpenDefects: []*pb.Defect{{Findings: []*pb.Finding{{
			Pack: "packs/a", PackVersion: "1", Rule: "lamp", StepIds: []string{"LMP-010/rear"}, Grade: pb.Grade_GRADE_MAJOR,
			Effect: pb.Effect_EFFECT_MOVING, Text: "lamp out",
		}}}},
	}, "digest", "mind the lamp")
}

func by(content *pb.RoundContent, shown *pb.ShownToSigner) *pb.Signature {
	s := &pb.Signature{Person: "people/driver", SignedAs: pb.Role_ROLE_DRIVER, Device: "tablet-1", DeviceTime: at(9), Proof: pb.Proof_PROOF_PIN, TabletAlone: true}
	s.StatementSha256 = signature.Of(content, shown, s)
	return s
}

// leaves are all fields that a message can have, each as something that changes it
// and nothing else: what is set is changed, what is not set is set.
func leaves(m protoreflect.Message, path string, take func(path string, change func())) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		name := path + "." + string(f.Name())
		switch {
		case f.IsList() && f.Message() != nil:
			list := m.Mutable(f).List()
			for j := range list.Len() {
				leaves(list.Get(j).Message(), fmt.Sprintf("%s[%d]", name, j), take)
			}
			take(name+" longer", func() { list.Append(list.NewElement()) })
			if list.Len() > 0 {
				take(name+" shorter", func() { list.Truncate(list.Len() - 1) })
			}
		case f.IsList():
			list := m.Mutable(f).List()
			take(name+" longer", func() { list.Append(other(f, list.NewElement())) })
		case f.Message() != nil && m.Has(f):
			leaves(m.Mutable(f).Message(), name, take)
			take(name+" gone", func() { m.Clear(f) })
		case f.Message() != nil:
			take(name+" there", func() { m.Set(f, m.NewField(f)) })
		default:
			take(name, func() { m.Set(f, other(f, m.Get(f))) })
		}
	}
}

// other is another value than one that a field holds.
func other(f protoreflect.FieldDescriptor, v protoreflect.Value) protoreflect.Value {
	switch f.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(v.String() + "x")
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes(append(slices.Clone(v.Bytes()), 1))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(!v.Bool())
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(v.Enum() + 1)
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(v.Float() + 0.125)
	case protoreflect.Int64Kind:
		return protoreflect.ValueOfInt64(v.Int() + 1)
	}
	return protoreflect.ValueOfInt32(int32(v.Int()) + 1)
}

// A signature fits if and only if nothing that was signed has changed: every field of
// the round, of what was shown and of the signature itself is changed in turn.
func TestFits_IfAndOnlyIfNothingSignedHasChanged(t *testing.T) {
	content, seen := round(result("a", "s"), result("b", "t")), shown()
	signed := by(content, seen)
	if !signature.Fits(content, seen, signed) {
		t.Fatal("what was signed does not fit")
	}
	spared := map[string]bool{ // what the station adds
		"signature.station_time there": true, "signature.changed_since there": true, "signature.role_unproven": true,
	}
	tried := 0
	for _, whole := range []struct {
		name string
		of   func(c *pb.RoundContent, s *pb.ShownToSigner, b *pb.Signature) proto.Message
	}{
		{"content", func(c *pb.RoundContent, _ *pb.ShownToSigner, _ *pb.Signature) proto.Message { return c }},
		{"shown", func(_ *pb.RoundContent, s *pb.ShownToSigner, _ *pb.Signature) proto.Message { return s }},
		{"signature", func(_ *pb.RoundContent, _ *pb.ShownToSigner, b *pb.Signature) proto.Message { return b }},
	} {
		for place := 0; ; place++ {
			c, s, b := proto.CloneOf(content), proto.CloneOf(seen), proto.CloneOf(signed)
			name, n := "", 0
			var change func()
			leaves(whole.of(c, s, b).ProtoReflect(), whole.name, func(path string, do func()) {
				if n == place {
					name, change = path, do
				}
				n++
			})
			if change == nil {
				break
			}
			change()
			tried++
			if fits := signature.Fits(c, s, b); fits != spared[name] {
				t.Errorf("%s changed: fits %t", name, fits)
			}
		}
	}
	if tried < 45 {
		t.Errorf("only %d changes were tried", tried)
	}
}

// What a driver gave of a result is signed, field by field; what the station works out is not.
func TestOfResult_IsOverWhatWasGiven(t *testing.T) {
	given := result("a", "s")
	given.GetReading().Values[0].Trace = &pb.Trace{AtS: []float64{0, 1}, Unit: "bar"}
	given.Cure, given.AlsoSeen = &pb.Cure{Done: "topped up"}, []*pb.ConditionSeen{{Condition: "leaks"}}
	hash := signature.OfResult(given)
	spared := map[string]bool{
		"result.station_time there": true, "result.looked_at there": true, "result.round": true, "result.gauge_overdue": true,
		"result.air_celsius": true, "result.reading.values[0].si": true,
	}
	for place := 0; ; place++ {
		r, name, n := proto.CloneOf(given), "", 0
		var change func()
		leaves(r.ProtoReflect(), "result", func(path string, do func()) {
			if n == place {
				name, change = path, do
			}
			n++
		})
		if change == nil {
			break
		}
		change()
		if same := bytes.Equal(hash, signature.OfResult(r)); same != spared[name] {
			t.Errorf("%s changed: the hash is the same %t", name, same)
		}
	}
}

// Results are signed as a set: in whatever order a station got them, it is the same one.
func TestContent_TheOrderOfResultsIsTheirIDs(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var results []*pb.Result
		for i := range rapid.IntRange(0, 12).Draw(rt, "results") {
			results = append(results, result(fmt.Sprintf("id-%02d", i), fmt.Sprintf("step-%d", i)))
		}
		seen, want := shown(), round(results...)
		signed := by(want, seen)
		if !signature.Fits(round(rapid.Permutation(results).Draw(rt, "came")...), seen, signed) {
			rt.Fatal("another order of arrival is another content")
		}
		if signature.Fits(round(append(results, result("more", "step-0"))...), seen, signed) {
			rt.Fatal("one more result fits, too")
		}
	})
}

func TestNewest_OfOneStepTheSixteenThatCameLast(t *testing.T) {
	var results []*pb.Result
	for i := range 20 {
		results = append(results, result(fmt.Sprintf("id-%02d", i), "s"))
	}
	var ids []string
	for _, d := range round(append(results, result("z", "t"))...).GetResults() {
		ids = append(ids, d.GetResultId())
	}
	if len(ids) != 17 || ids[0] != "id-04" || ids[16] != "z" {
		t.Errorf("%v", ids)
	}
}

// The wire form is written here by hand, by the protobuf encoding specification
// (protobuf.dev/programming-guides/encoding): tag, length, value, in the order of the numbers.
func TestOf_IsTheHashOfTheWireFormWrittenByHand(t *testing.T) {
	text := func(b []byte, n protowire.Number, s string) []byte {
		return protowire.AppendString(protowire.AppendTag(b, n, protowire.BytesType), s)
	}
	part := func(b []byte, n protowire.Number, inner []byte) []byte {
		return protowire.AppendBytes(protowire.AppendTag(b, n, protowire.BytesType), inner)
	}
	number := func(b []byte, n protowire.Number, v uint64) []byte {
		return protowire.AppendVarint(protowire.AppendTag(b, n, protowire.VarintType), v)
	}
	given := &pb.Result{ResultId: "a", StepId: "s", Answer: &pb.Result_NotChecked{NotChecked: &pb.NotChecked{Reason: 2}}, Person: "people/driver", Device: "tablet-1"}
	asGiven := text(text(nil, 1, "a"), 2, "s")
	asGiven = part(asGiven, 7, number(nil, 1, 2))
	asGiven = text(text(asGiven, 8, "people/driver"), 9, "tablet-1")
	hash := sha256.Sum256(asGiven)

	content := text(text(text(text(nil, 1, "rounds/1"), 2, "vehicles/p1"), 3, "routines/shift"), 4, "people/driver")
	content = part(content, 6, nil)
	content = part(content, 7, part(text(nil, 1, "a"), 2, hash[:]))
	words := sha256.Sum256([]byte("mind the lamp"))
	statement := number(nil, 1, 1)
	statement = part(statement, 2, content)
	statement = part(statement, 3, part(number(nil, 1, uint64(pb.Verdict_VERDICT_FIT)), 5, words[:]))
	statement = text(statement, 4, "people/driver")
	statement = number(statement, 5, uint64(pb.Role_ROLE_DRIVER))
	statement = text(statement, 6, "tablet-1")
	statement = part(statement, 7, number(nil, 1, 1770015600)) // 2026-02-02 07:00:00 UTC, by date -u -d @1770015600
	statement = number(statement, 8, uint64(pb.Proof_PROOF_PIN))
	want := sha256.Sum256(statement)

	r := &pb.Round{Name: "rounds/1", Vehicle: "vehicles/p1", Routine: "routines/shift", Driver: "people/driver"}
	got := signature.Of(signature.Content(r, []*pb.RoundConditions{{}}, signature.Newest([]*pb.Result{given})),
		signature.Shown(&pb.Readiness{Verdict: pb.Verdict_VERDICT_FIT}, "", "mind the lamp"),
		&pb.Signature{Person: "people/driver", SignedAs: pb.Role_ROLE_DRIVER, Device: "tablet-1", DeviceTime: at(0), Proof: pb.Proof_PROOF_PIN})
	if !bytes.Equal(got, want[:]) {
		t.Errorf("%x, by hand %x", got, want)
	}
}

// A statement and a result have one form only: there is no map in them, whose entries
// could stand in any order.
func TestStatement_HoldsNoMap(t *testing.T) {
	met := map[protoreflect.FullName]bool{}
	var walk func(m protoreflect.MessageDescriptor)
	walk = func(m protoreflect.MessageDescriptor) {
		if met[m.FullName()] {
			return
		}
		met[m.FullName()] = true
		for i := range m.Fields().Len() {
			if f := m.Fields().Get(i); f.IsMap() {
				t.Errorf("%s is a map", f.FullName())
			} else if f.Message() != nil {
				walk(f.Message())
			}
		}
	}
	walk((&pb.SignedStatement{}).ProtoReflect().Descriptor())
	walk((&pb.Result{}).ProtoReflect().Descriptor())
	if len(met) < 15 {
		t.Errorf("only %d messages met", len(met))
	}
}

// Text that no record can hold is signed by nobody: nothing fits it.
func TestFits_NotTextThatIsNotUTF8(t *testing.T) {
	content, seen := round(), shown()
	seen.Reasons = []string{"\xff"}
	for _, hash := range [][]byte{nil, make([]byte, 32)} {
		if signature.Fits(content, seen, &pb.Signature{StatementSha256: hash}) {
			t.Errorf("%x fits", hash)
		}
	}
}

func TestOfficerMissing(t *testing.T) {
	finished, officer := pb.RoundState_ROUND_STATE_FINISHED, pb.Role_ROLE_OFFICER
	for name, tc := range map[string]struct {
		round *pb.Round
		want  bool
	}{
		"not asked for":         {&pb.Round{State: finished}, false},
		"not finished":          {&pb.Round{OfficerSigns: true, State: pb.RoundState_ROUND_STATE_OPEN}, false},
		"given up":              {&pb.Round{OfficerSigns: true, State: pb.RoundState_ROUND_STATE_GIVEN_UP}, false},
		"the driver's alone":    {&pb.Round{OfficerSigns: true, State: finished, Signatures: []*pb.Signature{{SignedAs: pb.Role_ROLE_DRIVER}}}, true},
		"signed":                {&pb.Round{OfficerSigns: true, State: finished, Signatures: []*pb.Signature{{SignedAs: officer}}}, false},
		"changed after signing": {&pb.Round{OfficerSigns: true, State: finished, Signatures: []*pb.Signature{{SignedAs: officer, ChangedSince: timestamppb.Now()}}}, true},
	} {
		if got := signature.OfficerMissing(tc.round); got != tc.want {
			t.Errorf("%s: %t, want %t", name, got, tc.want)
		}
	}
}
