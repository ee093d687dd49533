package rpc

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "bayround/proto/bayround/v1"
)

// breach is a request that breaks one rule, and the field that must be named.
type breach struct {
	rule    string
	path    string
	request proto.Message
}

// breaches are all ways of breaking one rule of one field of a valid request.
func breaches(t *testing.T, valid proto.Message) []breach {
	var all []breach
	var walk func(path string, at func(proto.Message) protoreflect.Message)
	walk = func(path string, at func(proto.Message) protoreflect.Message) {
		fields := at(valid).Descriptor().Fields()
		for i := range fields.Len() {
			field := fields.Get(i)
			here := strings.TrimPrefix(path+"."+string(field.Name()), ".")
			add := func(rule, suffix string, spoil func(protoreflect.Message)) {
				request := proto.Clone(valid)
				spoil(at(request))
				all = append(all, breach{rule: rule, path: here + suffix, request: request})
			}
			if oneof := field.ContainingOneof(); oneof != nil && at(valid).WhichOneof(oneof) != field {
				continue // another choice of the same oneof is in the sample
			}
			breakField(field, rulesOf(t, field), add)
			if !at(valid).Has(field) || field.Message() == nil || field.Message().FullName() == "google.protobuf.Timestamp" {
				continue
			}
			if field.IsList() {
				walk(here+"[0]", func(m proto.Message) protoreflect.Message { return at(m).Mutable(field).List().Get(0).Message() })
				continue
			}
			walk(here, func(m proto.Message) protoreflect.Message { return at(m).Mutable(field).Message() })
		}
	}
	walk("", proto.Message.ProtoReflect)
	return all
}

// breakField adds a breach for each rule of one field.
func breakField(field protoreflect.FieldDescriptor, rules *validate.FieldRules, add func(rule, suffix string, spoil func(protoreflect.Message))) {
	set := func(v protoreflect.Value) func(protoreflect.Message) {
		return func(m protoreflect.Message) {
			if field.IsList() {
				m.Mutable(field).List().Append(v)
				return
			}
			m.Set(field, v)
		}
	}
	if rules.GetRequired() {
		add("required", "", func(m protoreflect.Message) { m.Clear(field) })
	}
	if r := rules.GetRepeated(); r != nil {
		breakList(field, r, add)
		return
	}
	for rule, bad := range badValues(rules) {
		add(rule, "", set(bad))
	}
	if field.Kind() == protoreflect.EnumKind && rules.GetEnum().GetDefinedOnly() {
		add("defined_only", "", set(protoreflect.ValueOfEnum(9999)))
	}
	if field.Kind() == protoreflect.EnumKind && len(rules.GetEnum().GetNotIn()) > 0 {
		add("not_in", "", set(protoreflect.ValueOfEnum(0)))
	}
}

// breakList adds a breach for each rule of a repeated field.
func breakList(field protoreflect.FieldDescriptor, r *validate.RepeatedRules, add func(rule, suffix string, spoil func(protoreflect.Message))) {
	if r.HasMinItems() {
		add("min_items", "", func(m protoreflect.Message) { m.Clear(field) })
	}
	if r.HasMaxItems() {
		add("max_items", "", func(m protoreflect.Message) {
			list := m.Mutable(field).List()
			for uint64(list.Len()) <= r.GetMaxItems() {
				list.Append(list.Get(0))
			}
		})
	}
	if r.GetUnique() {
		add("unique", "", func(m protoreflect.Message) { list := m.Mutable(field).List(); list.Append(list.Get(0)) })
	}
	if r.GetItems().GetDouble().HasFinite() {
		add("items.finite", "[0]", func(m protoreflect.Message) { m.Mutable(field).List().Set(0, protoreflect.ValueOfFloat64(math.Inf(1))) })
	}
	if r.GetItems().GetString().HasPattern() {
		add("items.pattern", "[1]", func(m protoreflect.Message) { m.Mutable(field).List().Append(protoreflect.ValueOfString("!")) })
	}
}

// badValues is one value for each rule of a single field that breaks it.
func badValues(rules *validate.FieldRules) map[string]protoreflect.Value {
	bad := map[string]protoreflect.Value{}
	if s := rules.GetString(); s != nil {
		if s.HasPattern() {
			bad["pattern"] = protoreflect.ValueOfString("!")
		}
		if s.GetUuid() {
			bad["uuid"], bad["uuid empty"] = protoreflect.ValueOfString("not-a-uuid"), protoreflect.ValueOfString("")
		}
		if s.HasMinLen() {
			bad["min_len"] = protoreflect.ValueOfString("")
		}
		if s.HasMaxLen() {
			bad["max_len"] = protoreflect.ValueOfString(strings.Repeat("x", int(s.GetMaxLen())+1)) //nolint:gosec // small
		}
		if len(s.GetIn()) > 0 {
			bad["in"] = protoreflect.ValueOfString("furlong")
		}
	}
	if b := rules.GetBytes(); b.HasLen() {
		bad["len"] = protoreflect.ValueOfBytes(make([]byte, b.GetLen()+1))
	} else if b != nil {
		bad["min_len"] = protoreflect.ValueOfBytes(nil)
		bad["max_len"] = protoreflect.ValueOfBytes(make([]byte, b.GetMaxLen()+1))
	}
	if d := rules.GetDouble(); d != nil {
		bad["finite"] = protoreflect.ValueOfFloat64(math.NaN())
		if d.HasGte() {
			bad["gte"] = protoreflect.ValueOfFloat64(d.GetGte() - 1)
		}
		if d.HasLte() {
			bad["lte"] = protoreflect.ValueOfFloat64(d.GetLte() + 1)
		}
	}
	if i := rules.GetInt32(); i != nil {
		bad["gte"] = protoreflect.ValueOfInt32(i.GetGte() - 1)
		if i.HasLte() {
			bad["lte"] = protoreflect.ValueOfInt32(i.GetLte() + 1)
		}
	}
	if i := rules.GetInt64(); i != nil {
		bad["gte"] = protoreflect.ValueOfInt64(i.GetGte() - 1)
	}
	return bad
}

// moreSamples hold the answers that the sample of a result cannot hold at once.
func moreSamples(t *testing.T) []proto.Message {
	with := func(change func(*pb.Result)) proto.Message {
		req := proto.Clone(sample(t, "RecordResultRequest")).(*pb.RecordResultRequest)
		req.Result.Cure = &pb.Cure{FoundResultId: uuid(3), Done: "topped up", Amount: 1.5, Unit: "L"}
		req.Result.Gauge, req.Result.Note, req.Result.LookedS = "gauges/g-07", "words", 12
		change(req.GetResult())
		return req
	}
	return []proto.Message{
		with(func(r *pb.Result) {
			r.Answer = &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{{
				Part: "pressure", AsTyped: 8.5, Unit: "bar", Again: []float64{8.4},
				Trace: &pb.Trace{AtS: []float64{0, 60}, AsTyped: []float64{8.5, 8.4}, Unit: "bar"},
			}}}}
		}),
		with(func(r *pb.Result) {
			r.Answer = &pb.Result_Profile{Profile: &pb.TreadProfile{Unit: "mm", Sections: []*pb.TreadSection{
				{Points: []*pb.TreadPoint{{Across: 0, AsTyped: 8}, {Across: 1, AsTyped: 7.5}}},
			}}}
		}),
		with(func(r *pb.Result) {
			r.Answer = &pb.Result_Level{Level: &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BETWEEN, Fraction: 0.5}}
		}),
		with(func(r *pb.Result) {
			r.Answer = &pb.Result_NotChecked{NotChecked: &pb.NotChecked{Reason: pb.NotCheckedReason_NOT_CHECKED_REASON_TURNOUT}}
		}),
		with(func(r *pb.Result) {
			r.Answer = &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: []*pb.ConditionSeen{
				{Condition: "sound", Count: &pb.Count{Affected: 1, Of: 4}},
			}}}
		}),
	}
}

func TestCalls_NameTheFieldThatBreaksARule(t *testing.T) {
	unaryOnly := failing(func() error { return nil })[:1] // a stream's request is read by its handler
	_, conn := serve(t, openStation(t), Options{}, unaryOnly...)
	broken := 0
	for _, m := range methods(t) {
		if m.fromCaller {
			continue // refused in band; see TestPipeline_RefusesInBandAndGoesOn
		}
		samples := []proto.Message{m.sampleOfCall}
		if m.in.Descriptor().Name() == "RecordResultRequest" {
			samples = append(samples, moreSamples(t)...)
		}
		for _, valid := range samples {
			if err := m.call(t.Context(), conn, valid); status.Code(err) == codes.InvalidArgument {
				t.Errorf("%s: the sample is refused: %v", m.name, err)
			}
			for _, b := range breaches(t, valid) {
				broken++
				requireNamed(t, fmt.Sprintf("%s: %s of %s", m.name, b.rule, b.path), b.path, m.call(t.Context(), conn, b.request))
			}
		}
	}
	t.Logf("%d breaches", broken)
	if broken < 150 {
		t.Errorf("only %d breaches were tried; has the walk gone blind?", broken)
	}
}

// requireNamed wants INVALID_ARGUMENT with a violation of the field, in words.
func requireNamed(t *testing.T, what, path string, err error) {
	t.Helper()
	s := status.Convert(err)
	if s.Code() != codes.InvalidArgument {
		t.Errorf("%s: %v", what, s)
		return
	}
	for _, v := range detail[*errdetails.BadRequest](t, s).GetFieldViolations() {
		if v.GetField() == path {
			if words := v.GetDescription(); words == "" || strings.Contains(words, "regex") || strings.HasPrefix(words, "value ") {
				t.Errorf("%s: not in our words: %q", what, words)
			}
			return
		}
	}
	t.Errorf("%s: does not name the field: %v", what, s.Proto())
}
