package rules

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

const made = pb.ExplanationPart_EXPLANATION_PART_MADE

// tellMade says what was made of what was read.
func (a *account) tellMade() {
	if len(a.looked) != 1 {
		a.tellTogether()
		return
	}
	o := a.looked[0]
	before := len(a.lines)
	a.tellMean(o)
	a.tellNormalised(o)
	a.tellTrace(o)
	if o.GetHasTarget() && o.GetHasValue() && o.GetTarget() != 0 && len(o.GetStep().GetParts()) > 0 {
		as := shownPart(o, 0)
		text := fmt.Sprintf("That is %s %% of the %s aimed at.", about(100*o.GetShareOfTarget()), as.exact(o.GetTarget()))
		arrives(a.say(made, text), 100*o.GetShareOfTarget(), "%")
	}
	a.tellTread(o)
	if o.GetLitresToAdd() > 0 {
		atLeast := ""
		if o.GetLevelBelow() {
			atLeast = "at least "
		}
		text := fmt.Sprintf("%s%s L bring it to the upper mark", atLeast, about(o.GetLitresToAdd()))
		arrives(a.say(made, sentence(text)), o.GetLitresToAdd(), "L")
	}
	a.lines = a.lines[:min(len(a.lines), before+mostMade)]
}

// sentence makes words a sentence.
func sentence(words string) string {
	first, size := utf8.DecodeRuneInString(words)
	return string(unicode.ToUpper(first)) + words[size:] + "."
}

// about writes a number that was worked out: four digits of it.
func about(x float64) string {
	if x == 0 || !isFinite(x) {
		return rounded(x, 0, true)
	}
	return rounded(x, min(max(3-int(math.Floor(math.Log10(abs(x)))), 0), mostShown), true)
}

// about tells a number that was worked out, in the unit people use.
func (s shown) about(x float64) string { return s.withUnit(about(x * s.factor)) }

func (a *account) tellMean(o *pb.Observation) {
	for i, p := range o.GetStep().GetParts() {
		v := valueOf(o, p.GetId())
		if n := len(v.GetAgain()); n > 0 {
			as := shownPart(o, i)
			scatter := standardDeviation(readings(v, quantityOf(p).unit))
			text := fmt.Sprintf("Mean of %d readings: %s; they scatter by %s.", n+1, as.about(v.GetSi()), as.about(scatter))
			arrives(a.say(made, text), v.GetSi()*as.factor, as.unit)
		}
	}
}

// tellNormalised shows the sum with absolute pressures and temperatures.
func (a *account) tellNormalised(o *pb.Observation) {
	if !o.GetNormalised() {
		return
	}
	as, air := shownPart(o, 0), o.GetResult().GetAirCelsius()
	station := a.judge.circumstances.Station
	if station == nil {
		text := fmt.Sprintf("Brought from %s °C to the station's reference temperature: %s.", about(air), as.about(o.GetValue()))
		arrives(a.say(made, text), o.GetValue()*as.factor, as.unit)
		return
	}
	atmosphere := float64(measure.AtmosphericKPa(station.GetAltitudeM()))
	reference := station.GetReferenceCelsius()
	text := fmt.Sprintf("Brought from %s to %s °C at %s m: (%s + %s) × %s K / %s K − %s = %s.",
		about(air), about(reference), about(station.GetAltitudeM()), about(o.GetAsRead()*as.factor), about(atmosphere*as.factor),
		rounded(reference+zeroCelsius, 2, true), rounded(air+zeroCelsius, 2, true), about(atmosphere*as.factor), as.about(o.GetValue()))
	arrives(a.say(made, text), o.GetValue()*as.factor, as.unit)
}

// zeroCelsius is 0 °C in kelvins.
const zeroCelsius = 273.15

func (a *account) tellTrace(o *pb.Observation) {
	for i, p := range o.GetStep().GetParts() {
		v := valueOf(o, p.GetId())
		at := v.GetTrace().GetAtS()
		if len(at) < 2 {
			continue
		}
		as, span := shownPart(o, i), about(at[len(at)-1]-at[0])
		words := map[pb.ReadingHow]string{
			pb.ReadingHow_READING_HOW_TAPPED:  fmt.Sprintf("%d taps in %s s: %s.", len(at), span, as.about(v.GetSi())),
			pb.ReadingHow_READING_HOW_TIMED:   fmt.Sprintf("Timed by hand: %s.", as.about(v.GetSi())),
			pb.ReadingHow_READING_HOW_WATCHED: fmt.Sprintf("Read %d times in %s s: %s.", len(at), span, as.about(v.GetSi())),
		}[p.GetHow()]
		arrives(a.say(made, words), v.GetSi()*as.factor, as.unit)
	}
}

func (a *account) tellTread(o *pb.Observation) {
	if !o.GetHasTread() {
		return
	}
	as := shownAs("mm", o.GetStep(), 0)
	profile := o.GetResult().GetProfile()
	if profile == nil {
		return
	}
	from := treadProfile(profile).Worst().BestBandFrom(threeQuarters)
	text := fmt.Sprintf("Best continuous band of three quarters of the breadth, all round: from %s to %s of it, %s at the least; central band %s; anywhere %s.",
		about(from), about(from+threeQuarters), as.about(o.GetTreadBandMm()), as.about(o.GetTreadCentralMm()), as.about(o.GetTreadLeastMm()))
	arrives(a.say(made, text), o.GetTreadBandMm()*as.factor, as.unit)
	for shape, theirs := range shapes {
		if theirs == o.GetTreadShape() && shape.Cause() != "" {
			a.say(made, fmt.Sprintf("Worn unevenly: %s. Look first for: %s.", strings.TrimPrefix(shape.String(), "worn "), shape.Cause()))
		}
	}
}

// tellTogether tells the extremes of what several observations share.
func (a *account) tellTogether() {
	if len(a.looked) == 0 {
		return
	}
	low, high := a.looked[0], a.looked[0]
	for _, o := range a.looked {
		if !o.GetHasValue() || quantityFirst(o) != quantityFirst(a.looked[0]) {
			return
		}
		if o.GetValue() < low.GetValue() {
			low = o
		}
		if o.GetValue() > high.GetValue() {
			high = o
		}
	}
	as := shownPart(low, 0)
	text := fmt.Sprintf("From %s (%s) to %s (%s): %s apart", as.about(low.GetValue()), where(low), as.about(high.GetValue()), where(high), as.about(high.GetValue()-low.GetValue()))
	if low.GetNormalised() && high.GetNormalised() {
		text += ", at the reference temperature"
	}
	arrives(a.say(made, text+"."), (high.GetValue()-low.GetValue())*as.factor, as.unit)
}

func quantityFirst(o *pb.Observation) pb.Quantity {
	if parts := o.GetStep().GetParts(); len(parts) > 0 {
		return parts[0].GetQuantity()
	}
	return pb.Quantity_QUANTITY_UNSPECIFIED
}

func where(o *pb.Observation) string {
	if title := o.GetStep().GetPlace().GetTitle(); title != "" {
		return title
	}
	return o.GetStep().GetStepId()
}
