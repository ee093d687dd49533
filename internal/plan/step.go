package plan

import (
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

const (
	// placardUnit is the unit of the pressure on a vehicle's placard.
	placardUnit = "kPa"
	// keptTemperature is the unit of the temperature a station prepares for.
	keptTemperature = "degC"
)

// newStep returns the step of an item at one spot; its id and title are its own
// unless two things of the vehicle share both.
func newStep(item *pb.Item, s spot, stop *pb.Stop, station *pb.Station) *pb.CheckStep {
	step := &pb.CheckStep{
		StepId:              item.GetId() + "/" + s.place.GetId(),
		Item:                item.GetId(),
		Title:               s.title,
		Cautions:            item.GetCautions(),
		Place:               plain(s.place),
		Stop:                stop.GetId(),
		StopTitle:           stop.GetTitle(),
		State:               item.GetState(),
		Position:            item.GetPosition(),
		AnswerKind:          item.GetAnswerKind(),
		Parts:               item.GetParts(),
		Units:               unitsOf(item, s, station),
		Conditions:          item.GetConditions(),
		Target:              targetOf(item, s, station),
		MustNotMiss:         item.GetMustNotMiss(),
		LeastLookS:          item.GetLeastLookS(),
		UndoS:               item.GetUndoS(),
		TellControlFirst:    item.GetTellControlFirst(),
		GoodFor:             item.GetGoodFor(),
		ColdAfter:           item.GetColdAfter(),
		Axle:                s.axle,
		Side:                s.side,
		Twin:                s.twin,
		LampFunction:        s.lamp,
		Alike:               s.alike,
		Fluid:               item.GetFluid(),
		VolumeBetweenMarksL: s.fluid.GetVolumeBetweenMarksL(),
		Family:              item.GetFamily(),
	}
	step.Prompt = upperFirst(fill(item.GetPrompt(), step, s.fluid))
	step.LimitText = fill(item.GetLimitText(), step, s.fluid)
	step.AlonePrompt = upperFirst(fill(item.GetAlonePrompt(), step, s.fluid))
	step.AssistantCommand = upperFirst(fill(item.GetAssistantCommand(), step, s.fluid))
	return step
}

// plain returns a place without negative zeros, which copying a message or writing
// it to a file may lose, so that the digest would differ for the same place.
func plain(place *pb.Place) *pb.Place {
	at := place.GetAt()
	negative := func(m float64) bool { return m == 0 && math.Signbit(m) }
	if !negative(at.GetXM()) && !negative(at.GetYM()) && !negative(at.GetZM()) {
		return place
	}
	return &pb.Place{Id: place.GetId(), Title: place.GetTitle(), At: &pb.Point{XM: at.GetXM() + 0, YM: at.GetYM() + 0, ZM: at.GetZM() + 0}}
}

// unitsOf returns the unit in which each part of an item is entered: the
// station's for pressures and, at a wheel, depths; else the part's usual one.
func unitsOf(item *pb.Item, s spot, station *pb.Station) []string {
	units := make([]string, len(item.GetParts()))
	for i, part := range item.GetParts() {
		units[i] = part.GetUsualUnit()
		switch {
		case part.GetQuantity() == pb.Quantity_QUANTITY_PRESSURE && station.GetPressureUnit() != "":
			units[i] = station.GetPressureUnit()
		case part.GetQuantity() == pb.Quantity_QUANTITY_PRESSURE_RATE && station.GetPressureUnit() != "":
			units[i] = station.GetPressureUnit() + "/min"
		case part.GetQuantity() == pb.Quantity_QUANTITY_LENGTH && s.isWheel() && station.GetTreadUnit() != "":
			units[i] = station.GetTreadUnit()
		}
	}
	return units
}

func (s spot) isWheel() bool {
	return s.twin != pb.TwinPosition_TWIN_POSITION_UNSPECIFIED
}

// targetOf returns what a step is judged against: the placard pressure for a
// pressure that is read at a wheel, the coldest the station prepares for where a
// coolant's frost protection is read. A station that prepares for 0 degrees has
// not said.
func targetOf(item *pb.Item, s spot, station *pb.Station) *float64 {
	if len(item.GetParts()) == 0 {
		return nil
	}
	switch quantity := item.GetParts()[0].GetQuantity(); {
	case quantity == pb.Quantity_QUANTITY_PRESSURE && s.isWheel():
		kpa := s.tyre.GetColdPressureKpa()
		return &kpa
	case quantity == pb.Quantity_QUANTITY_TEMPERATURE && item.GetFluid() == pb.FluidKind_FLUID_KIND_COOLANT && station.GetDesignMinimumCelsius() != 0:
		coldest := station.GetDesignMinimumCelsius()
		return &coldest
	default:
		return nil
	}
}

// fill puts a step's own words and values into a text of its item.
func fill(text string, step *pb.CheckStep, fluid *pb.Fluid) string {
	if !strings.Contains(text, "{") {
		return text
	}
	unit := ""
	if len(step.GetUnits()) > 0 {
		unit = step.GetUnits()[0]
	}
	target := "not known"
	if step.Target != nil {
		target = sayTarget(step, unit)
	}
	return strings.NewReplacer(
		"{place}", step.GetPlace().GetTitle(),
		"{target}", target,
		"{unit}", unit,
		"{reading_method}", readingMethod(fluid.GetReading()),
	).Replace(text)
}

// sayTarget returns a step's target as people of that unit say it.
func sayTarget(step *pb.CheckStep, unit string) string {
	if step.GetParts()[0].GetQuantity() == pb.Quantity_QUANTITY_PRESSURE {
		return sayPressure(step.GetTarget(), unit)
	}
	value, err := measure.Convert(step.GetTarget(), keptTemperature, unit)
	if err != nil {
		return strconv.FormatFloat(step.GetTarget(), 'f', -1, 64) + " " + keptTemperature + ", in"
	}
	return strconv.FormatFloat(math.Round(value*10)/10, 'f', -1, 64)
}

// sayPressure returns a pressure kept in kPa as people of that unit say it: 8.5
// bar, 123 psi, 850 kPa, without the unit.
func sayPressure(kpa float64, unit string) string {
	value, err := measure.Convert(kpa, placardUnit, unit)
	if err != nil {
		return strconv.FormatFloat(kpa, 'f', -1, 64) + " " + placardUnit + ", in"
	}
	if math.Abs(value) >= 20 {
		return strconv.FormatFloat(value, 'f', 0, 64)
	}
	return strings.TrimSuffix(strconv.FormatFloat(value, 'f', 2, 64), "0")
}

// readingMethod returns how a level is read, as a phrase after "read the level".
func readingMethod(r pb.FluidReading) string {
	switch r {
	case pb.FluidReading_FLUID_READING_DIPSTICK:
		return "on the dipstick, wiped and dipped again"
	case pb.FluidReading_FLUID_READING_TANK_MARKS:
		return "on the marks of the tank"
	case pb.FluidReading_FLUID_READING_OPENED_CAP:
		return "under the cap"
	case pb.FluidReading_FLUID_READING_CAB_GAUGE:
		return "on the gauge in the cab"
	case pb.FluidReading_FLUID_READING_SIGHT_GLASS:
		return "in the sight glass"
	default:
		return "as the handbook says"
	}
}

// upperFirst returns a text that begins like a sentence.
func upperFirst(text string) string {
	r, size := utf8.DecodeRuneInString(text)
	if size == 0 {
		return text
	}
	return string(unicode.ToUpper(r)) + text[size:]
}
