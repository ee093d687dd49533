package station

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"bayround/internal/catalogue"
	"bayround/internal/fault"
	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// checkReading converts the values and holds them against what is believed.
func checkReading(s *pb.CheckStep, reading *pb.Reading, confirmed bool) error {
	given := map[string]bool{}
	var unusual []string
	for i, v := range reading.GetValues() {
		path := fmt.Sprintf("result.reading.values[%d]", i)
		p := partOf(s, v.GetPart())
		switch {
		case p == nil:
			return invalid("PART_UNKNOWN", path+".part", "%s has no part %q; it asks for %s", s.GetStepId(), v.GetPart(), partWords(s))
		case given[v.GetPart()]:
			return invalid("PART_TWICE", path+".part", "%s is given twice; give it once", v.GetPart())
		}
		given[v.GetPart()] = true
		odd, err := settleValue(p, v, path)
		if err != nil {
			return err
		}
		unusual = append(unusual, odd...)
	}
	if len(given) < len(s.GetParts()) {
		return invalid("PART_MISSING", "result.reading.values", "%s asks for %s; give every part", s.GetStepId(), partWords(s))
	}
	return mustConfirm(unusual, confirmed)
}

// checkProfile converts the depths and holds them against what is believed.
func checkProfile(s *pb.CheckStep, profile *pb.TreadProfile, confirmed bool) error {
	if len(s.GetParts()) == 0 { // the catalogue sees to it that there is one
		return invalid("PART_UNKNOWN", "result.profile", "%s does not say what its depths must be", s.GetStepId())
	}
	var unusual []string
	for i, section := range profile.GetSections() {
		before := math.Inf(-1)
		for k, point := range section.GetPoints() {
			path := fmt.Sprintf("result.profile.sections[%d].points[%d]", i, k)
			if point.GetAcross() <= before {
				return invalid("POINTS_NOT_RISING", path+".across", "points go from the outer shoulder to the inner one, each further in than the one before")
			}
			before = point.GetAcross()
			typed := typedValue{part: s.GetParts()[0], value: point.GetAsTyped(), unit: profile.GetUnit(), path: path}
			depth, odd, err := typed.believe()
			if err != nil {
				return err
			}
			point.DepthMm = depth
			unusual = append(unusual, odd...)
		}
	}
	return mustConfirm(unusual, confirmed)
}

func partOf(s *pb.CheckStep, id string) *pb.ReadingPart {
	for _, p := range s.GetParts() {
		if p.GetId() == id {
			return p
		}
	}
	return nil
}

func partWords(s *pb.CheckStep) string {
	ids := make([]string, len(s.GetParts()))
	for i, p := range s.GetParts() {
		ids[i] = p.GetId()
	}
	return quoted(ids)
}

func quoted(words []string) string {
	q := make([]string, len(words))
	for i, w := range words {
		q[i] = strconv.Quote(w)
	}
	return strings.Join(q, ", ")
}

// mustConfirm refuses values that are possible but unusual until somebody has
// looked at them once more.
func mustConfirm(unusual []string, confirmed bool) error {
	if len(unusual) == 0 || confirmed {
		return nil
	}
	return fault.New(fault.Precondition, "VALUE_NOT_CONFIRMED", "unusual: %s; read it again, and confirm it if it is true", strings.Join(unusual, "; "))
}

// typedValue is a value as somebody typed it.
type typedValue struct {
	part  *pb.ReadingPart
	value float64
	unit  string
	path  string // of the message that holds it
	field string // of that message, when it is not as_typed
}

// believe converts the value to the unit it is kept in. It refuses what cannot
// be true; odd holds a line when the value is unusual.
func (t typedValue) believe() (si float64, odd []string, err error) {
	kept := catalogue.UnitOf(t.part.GetQuantity())
	if si, err = measure.Convert(t.value, t.unit, kept); err != nil {
		return 0, nil, invalid("UNIT_WRONG", t.path+".unit", "%v", err)
	}
	if math.IsNaN(si) || math.IsInf(si, 0) {
		return 0, nil, invalid("VALUE_IMPOSSIBLE", t.at(), "%s must be a number", t.part.GetTitle())
	}
	if outside(si, t.part.GetPossible()) {
		return 0, nil, invalid("VALUE_IMPOSSIBLE", t.at(), "%s of %s cannot be true: it lies between %s",
			t.part.GetTitle(), t.words(t.value), t.rangeWords(t.part.GetPossible(), kept))
	}
	if outside(si, t.part.GetPlausible()) {
		odd = append(odd, fmt.Sprintf("%s of %s, usually between %s", t.part.GetTitle(), t.words(t.value), t.rangeWords(t.part.GetPlausible(), kept)))
	}
	return si, odd, nil
}

// at is where the value stands in the request.
func (t typedValue) at() string {
	if t.field != "" {
		return t.path + "." + t.field
	}
	return t.path + ".as_typed"
}

func outside(x float64, r *pb.Range) bool { return x < r.GetLeast() || x > r.GetGreatest() }

func (t typedValue) words(value float64) string {
	return strconv.FormatFloat(value, 'g', 4, 64) + " " + t.unit
}

// rangeWords is a range in the unit that was typed.
func (t typedValue) rangeWords(r *pb.Range, kept string) string {
	least, err1 := measure.Convert(r.GetLeast(), kept, t.unit)
	greatest, err2 := measure.Convert(r.GetGreatest(), kept, t.unit)
	if err1 != nil || err2 != nil { // what converts one way converts the other
		return fmt.Sprintf("%g and %g %s", r.GetLeast(), r.GetGreatest(), kept)
	}
	return t.words(least) + " and " + t.words(greatest)
}
