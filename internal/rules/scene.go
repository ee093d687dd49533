package rules

import (
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"
	"cel.dev/cel-go/interpreter"

	pb "bayround/proto/bayround/v1"
)

// scene is what one evaluation sees. It is CEL's activation; what expressions
// may not see in their place is refused when they are compiled.
type scene struct {
	judge *Judge
	given givens // in every observation that is looked at

	observation *pb.Observation // for o; nil in groups
	o           ref.Val         // made when first asked for
	group       ref.Val
	fault       ref.Val
}

// ResolveName gives the value of a variable.
func (s *scene) ResolveName(name string) (any, bool) {
	switch name {
	case "o":
		if s.o == nil && s.observation != nil {
			s.o = s.judge.engine.adapter.NativeToValue(s.observation)
		}
		return s.o, s.o != nil
	case "vehicle":
		return s.judge.vehicleValue, true
	case "group":
		return s.group, s.group != nil
	case "fault":
		return s.fault, s.fault != nil
	}
	return nil, false
}

// Parent is nil: there is nothing beyond.
func (s *scene) Parent() interpreter.Activation { return nil }

// showGroup makes the scene one of a group.
func (s *scene) showGroup(members []*member) {
	values := make([]ref.Val, len(members))
	s.given = givenAll
	for i, m := range members {
		if m.value == nil {
			m.value = s.judge.engine.adapter.NativeToValue(m.observation)
		}
		values[i] = m.value
		s.given &= m.given
	}
	s.group = types.NewRefValList(s.judge.engine.adapter, values)
}

// showFault makes the scene one of a fault, for texts.
func (s *scene) showFault(f *pb.Fault) {
	if f == nil {
		f = &pb.Fault{}
	}
	s.fault = s.judge.engine.adapter.NativeToValue(f)
}
