package round

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"bayround/internal/catalogue"
	"bayround/internal/fault"
	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// instant is one of those along which a number is taken: a tap, a start, a stop, a
// pressure that was read.
type instant struct {
	At   time.Time `json:"at"` // by the tablet's clock; with its monotonic reading until the tablet is started again
	Page string    `json:"page,omitempty"`
	Ms   float64   `json:"ms,omitempty"`   // by the clock of that page, from when the glass was touched
	Read string    `json:"read,omitempty"` // pressure, as typed
}

// What a taken number is made of.
const (
	leastTaps    = 8   // measure's, and what the driver is told
	mostInstants = 200 // the contract's
)

// Ways in which a number is taken along a stretch of time.
const (
	notTaken = pb.ReadingHow_READING_HOW_UNSPECIFIED
	tapped   = pb.ReadingHow_READING_HOW_TAPPED
	timed    = pb.ReadingHow_READING_HOW_TIMED
	watched  = pb.ReadingHow_READING_HOW_WATCHED
)

// takenAt is how the number of a step can be taken along a stretch of time. Where a
// step asks for several numbers they are typed.
func takenAt(step *pb.CheckStep) pb.ReadingHow {
	if step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_READING || len(step.GetParts()) != 1 {
		return notTaken
	}
	p := step.GetParts()[0]
	switch how, of := p.GetHow(), p.GetQuantity(); {
	case how == tapped && of == pb.Quantity_QUANTITY_FREQUENCY,
		how == timed && of == pb.Quantity_QUANTITY_DURATION,
		how == watched && of == pb.Quantity_QUANTITY_PRESSURE_RATE:
		return how
	}
	return notTaken
}

// taking is how the number is being taken; unspecified where it is typed.
func (d draft) taking(step *pb.CheckStep) pb.ReadingHow {
	if d.ByHand {
		return notTaken
	}
	return takenAt(step)
}

// withoutTaken forgets what was taken, to begin again.
func (d draft) withoutTaken(step *pb.CheckStep, byHand bool) (draft, error) {
	if takenAt(step) == notTaken {
		return d, fault.New(fault.Invalid, "NOTHING_TAKEN", "the number of this step is typed; there is nothing to tap or time")
	}
	d = d.clone()
	clear(d.Texts)
	d.Taken, d.Keyed, d.Cut, d.ByHand = nil, time.Time{}, false, byHand
	return d, nil
}

// withTaken takes one more instant: a tap, a start or a stop. A second touch of what
// was touched already changes nothing.
func (d draft) withTaken(step *pb.CheckStep, what string, at instant) (draft, error) {
	how, n := d.taking(step), len(d.Taken)
	switch {
	case how == tapped && what == "tap", how == timed && what == "start" && n == 0, how == timed && what == "stop" && n == 1:
		return d.withInstant(at)
	case how == timed && (what == "start" || what == "stop" && n == 2):
		return d, nil
	}
	return d, fault.New(fault.Invalid, "TAKE_UNKNOWN", "there is nothing here to %q", what)
}

// withRead takes the pressure that was typed. It was read when its first key was
// touched, but for the first one: the time runs from when the driver says so.
func (d draft) withRead(step *pb.CheckStep, now time.Time) (draft, error) {
	id := step.GetParts()[0].GetId()
	text := d.Texts[id]
	if _, whole := number(text); !whole {
		return d, fault.New(fault.Precondition, "NOT_READY", "this is no number yet: %q", text)
	}
	at := instant{At: now, Read: text}
	if len(d.Taken) > 0 && !d.Keyed.IsZero() {
		at.At = d.Keyed
	}
	d, err := d.withInstant(at)
	if err != nil {
		return d, err
	}
	delete(d.Texts, id)
	d.Keyed = time.Time{}
	return d, nil
}

// withInstant adds an instant. One that is not later than the one before is the same
// touch, told twice.
func (d draft) withInstant(at instant) (draft, error) {
	if len(d.Taken) >= mostInstants {
		return d, fault.New(fault.Precondition, "TAKEN_FULL", "that is enough; record it, or begin again")
	}
	d = d.clone()
	d.Taken = append(d.Taken, at)
	if times := secondsOf(d.Taken); len(times) > 1 && times[len(times)-1] <= times[len(times)-2] {
		d.Taken = d.Taken[:len(d.Taken)-1]
	}
	return d, nil
}

// noted keeps when the first key of a pressure was touched.
func (d draft) noted(step *pb.CheckStep, now time.Time) draft {
	if d.taking(step) != watched {
		return d
	}
	switch typed := d.Texts[step.GetParts()[0].GetId()] != ""; {
	case !typed:
		d.Keyed = time.Time{}
	case d.Keyed.IsZero():
		d.Keyed = now
	}
	return d
}

// secondsOf are instants in seconds from the first, to the millisecond: by the clock
// of the page where all were touched on one, for it knows best when that was, and
// by the tablet's otherwise.
func secondsOf(taken []instant) []float64 {
	onOne := !slices.ContainsFunc(taken, func(i instant) bool { return i.Page == "" || i.Page != taken[0].Page })
	times := make([]float64, len(taken))
	for i, at := range taken {
		since := at.At.Sub(taken[0].At).Seconds()
		if onOne {
			since = (at.Ms - taken[0].Ms) / 1000
		}
		times[i] = math.Round(since*1000) / 1000
	}
	return times
}

// made is what was made of what was taken.
type made struct {
	text  string // the number, in the step's unit
	words string // the number with how sure it is, or over which time
}

// lackingTaken is what is still to be done before there is a number.
func (d draft) lackingTaken(step *pb.CheckStep) string {
	n := len(d.Taken)
	switch how := d.taking(step); {
	case how == tapped && n < leastTaps:
		return fmt.Sprintf("tap along with at least %d flashes", leastTaps)
	case how == timed && n == 0:
		return "touch START when it begins"
	case how == timed && n == 1:
		return "touch STOP when it is reached"
	case how == watched && n == 0:
		return "enter the pressure and touch START"
	case how == watched && d.Texts[step.GetParts()[0].GetId()] != "":
		return "take the pressure that is typed, or clear it"
	case how == watched && n == 1:
		return "read the pressure again when the time is over"
	}
	if _, err := d.makeOf(step); err != nil {
		return "begin again"
	}
	return ""
}

// makeOf works out the number of what was taken; the error says in words what is
// wrong with it. Nothing must be lacking.
func (d draft) makeOf(step *pb.CheckStep) (made, error) {
	unit, times := unitAt(step, 0), secondsOf(d.Taken)
	kept := catalogue.UnitOf(step.GetParts()[0].GetQuantity())
	switch d.taking(step) {
	case tapped:
		rate, err := measure.TapRate(times)
		if err != nil {
			return made{}, err
		}
		text, err := roundedIn(rate.PerMinute, kept, unit, 1)
		return made{text, rateWords(rate)}, err
	case timed:
		text, err := roundedIn(times[len(times)-1], kept, unit, 1)
		return made{text, measured(text, unit)}, err
	}
	fall, err := d.rateOfAir(step, times)
	if err != nil {
		return made{}, err
	}
	text, err := roundedIn(fall, kept, unit, 3)
	return made{text, fmt.Sprintf("%s over %.0f s", measured(text, unit), times[len(times)-1])}, err
}

// rateWords is a rate with its interval, both ends rounded outwards.
func rateWords(r measure.FlashRate) string {
	low, high := math.Floor(r.Low+1e-6), math.Ceil(r.High-1e-6) // what is even but for the last digit stays so
	words := fmt.Sprintf("%.0f to %.0f a minute", low, high)
	if low == high {
		words = fmt.Sprintf("%.0f a minute", low)
	}
	switch {
	case r.Mended == 1:
		words += "; one tap mended"
	case r.Mended > 1:
		words += fmt.Sprintf("; %d taps mended", r.Mended)
	}
	return words
}

// rateOfAir is how fast the pressure changed, in the unit that is kept. A number that
// is never below 0 asks for a fall, and a rise is none.
func (d draft) rateOfAir(step *pb.CheckStep, times []float64) (float64, error) {
	samples := make([]measure.AirSample, len(d.Taken))
	for i, at := range d.Taken {
		x, _ := number(at.Read)
		kpa, err := measure.Convert(x, pressureUnit(step), catalogue.UnitOf(pb.Quantity_QUANTITY_PRESSURE))
		if err != nil {
			return 0, err
		}
		samples[i] = measure.AirSample{Seconds: times[i], Pressure: measure.Kilopascals(kpa)}
	}
	rate, err := measure.RateOfAir(samples)
	if step.GetParts()[0].GetPossible().GetLeast() >= 0 {
		return rate.Leak(), err
	}
	return rate.KPaPerMinute, err
}

// pressureUnit is the unit in which a pressure is watched: that of its rate, in a minute.
func pressureUnit(step *pb.CheckStep) string {
	unit, _ := strings.CutSuffix(unitAt(step, 0), "/min")
	return unit
}

// roundedIn is a number in a unit, with no more digits than are worth something.
func roundedIn(x float64, kept, unit string, digits int) (string, error) {
	x, err := measure.Convert(x, kept, unit)
	scale := math.Pow10(digits)
	return typedAgain(math.Round(x*scale) / scale), err
}

// trace is what was taken, as it is recorded.
func (d draft) trace(step *pb.CheckStep) *pb.Trace {
	t := &pb.Trace{AtS: secondsOf(d.Taken)}
	if d.taking(step) != watched {
		return t
	}
	t.Unit = pressureUnit(step)
	for _, at := range d.Taken {
		x, _ := number(at.Read)
		t.AsTyped = append(t.AsTyped, x)
	}
	return t
}

// takenValue is the value of a number that was taken.
func (d draft) takenValue(step *pb.CheckStep) *pb.Value {
	m, _ := d.makeOf(step) // nothing hinders it
	x, _ := number(m.text)
	return &pb.Value{Part: step.GetParts()[0].GetId(), AsTyped: x, Unit: unitAt(step, 0), Trace: d.trace(step)}
}

// running tells that something is being taken: what began and has not ended.
func (d draft) running(step *pb.CheckStep) bool {
	n := len(d.Taken)
	return n > 0 && !(d.taking(step) == timed && n > 1)
}
