package screen

import (
	"fmt"
	"strings"
	"time"

	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/types/known/timestamppb"
)

// gradeWord is the word for how serious something is.
func gradeWord(g pb.Grade) string {
	switch g {
	case pb.Grade_GRADE_MINOR:
		return "MINOR"
	case pb.Grade_GRADE_MAJOR:
		return "MAJOR"
	case pb.Grade_GRADE_DANGEROUS:
		return "DANGEROUS"
	default:
		return "NOT GRADED"
	}
}

// effectWords say what a finding takes away.
func effectWords(e pb.Effect) string {
	switch e {
	case pb.Effect_EFFECT_NOTHING:
		return "noted, put right in its turn"
	case pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT:
		return "may respond with a limit"
	case pb.Effect_EFFECT_RESPONDING:
		return "not to respond until put right"
	case pb.Effect_EFFECT_MOVING:
		return "do not move until put right"
	default:
		return "effect not known"
	}
}

// reasons are why a step was not checked: the form's word and the driver's.
var reasons = [...]struct {
	Reason pb.NotCheckedReason
	Value  string
	Title  string
}{
	{pb.NotCheckedReason_NOT_CHECKED_REASON_TURNOUT, "turnout", "a turnout came first"},
	{pb.NotCheckedReason_NOT_CHECKED_REASON_ENGINE_WARM, "engine_warm", "engine warm"},
	{pb.NotCheckedReason_NOT_CHECKED_REASON_NO_ASSISTANT, "no_assistant", "nobody to assist"},
	{pb.NotCheckedReason_NOT_CHECKED_REASON_NO_GAUGE, "no_gauge", "no gauge, or none in date"},
	{pb.NotCheckedReason_NOT_CHECKED_REASON_NOT_REACHABLE, "not_reachable", "not reached or not seen"},
	{pb.NotCheckedReason_NOT_CHECKED_REASON_NOT_CARRIED, "not_carried", "not carried today"},
	{pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME, "no_time", "no time"},
	{pb.NotCheckedReason_NOT_CHECKED_REASON_OTHER, "other", "other: in the note"},
}

// reasonWord is why a step was not checked, in words.
func reasonWord(r pb.NotCheckedReason) string {
	for _, known := range reasons {
		if known.Reason == r {
			return known.Title
		}
	}
	return "no reason given"
}

// quantityWord is what a gauge measures.
func quantityWord(q pb.Quantity) string {
	words := strings.TrimPrefix(q.String(), "QUANTITY_")
	switch q {
	case pb.Quantity_QUANTITY_LENGTH:
		return "depth and length"
	case pb.Quantity_QUANTITY_UNSPECIFIED:
		return "anything"
	}
	return strings.ToLower(strings.ReplaceAll(words, "_", " "))
}

// stateWords say the state the vehicle must be in, and where one stands.
func stateWords(s *pb.CheckStep) string {
	var words []string
	switch s.GetState().GetEngine() {
	case pb.EngineState_ENGINE_STATE_COLD:
		words = append(words, "engine cold")
	case pb.EngineState_ENGINE_STATE_OFF:
		words = append(words, "engine off")
	case pb.EngineState_ENGINE_STATE_COLD_START:
		words = append(words, "first start from cold")
	case pb.EngineState_ENGINE_STATE_RUNNING:
		words = append(words, "engine running")
	case pb.EngineState_ENGINE_STATE_RUNNING_WARM:
		words = append(words, "engine running, warm")
	}
	if s.GetState().GetIgnitionOn() {
		words = append(words, "ignition on")
	}
	if word := positionWord(s.GetPosition()); word != "" {
		words = append(words, word)
	}
	return strings.Join(words, " · ")
}

// positionWord is where the driver is while looking.
func positionWord(p pb.Position) string {
	if p == pb.Position_POSITION_UNSPECIFIED {
		return ""
	}
	word := strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(p.String(), "POSITION_"), "_", " "))
	switch p {
	case pb.Position_POSITION_OUTSIDE_KNEELING:
		return "outside, kneeling"
	case pb.Position_POSITION_ENGINE_FLAP, pb.Position_POSITION_BATTERY_BOX, pb.Position_POSITION_LOCKER:
		return "at the " + word
	case pb.Position_POSITION_PATIENT_COMPARTMENT:
		return "in the " + word
	case pb.Position_POSITION_ROOF:
		return "on the roof, three-point hold"
	case pb.Position_POSITION_PIT, pb.Position_POSITION_ROAD:
		return "on the " + word
	}
	return word
}

// counted is a number and its thing: 1 item, 12 items.
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// lasting is a length of time in words a person uses: 45 s, 12 min, 3 h 20 min, 2 days.
func lasting(d time.Duration) string {
	d = max(d, 0)
	switch {
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()+0.5))
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		if m := int(d.Minutes()) % 60; m != 0 {
			return fmt.Sprintf("%d h %d min", int(d.Hours()), m)
		}
		return fmt.Sprintf("%d h", int(d.Hours()))
	}
	return fmt.Sprintf("%d days", int(d.Hours())/24)
}

// dayWords says an instant by its day alone, unless it is today.
func dayWords(at, now time.Time, zone *time.Location) string {
	words := clockWords(at, now, zone)
	if day, _, ok := cutLast(words, " "); ok {
		return day
	}
	return words
}

// cutLast cuts a text round the last separator.
func cutLast(text, separator string) (before, after string, found bool) {
	if i := strings.LastIndex(text, separator); i >= 0 {
		return text[:i], text[i+len(separator):], true
	}
	return text, "", false
}

// clockWords says an instant as people at the station say it: the time alone today,
// the day too when it is another one.
func clockWords(at, now time.Time, zone *time.Location) string {
	if at.IsZero() {
		return ""
	}
	if zone == nil {
		zone = time.UTC
	}
	at, now = at.In(zone), now.In(zone)
	switch {
	case at.YearDay() == now.YearDay() && at.Year() == now.Year():
		return at.Format("15:04")
	case at.Year() == now.Year():
		return at.Format("2 Jan 15:04")
	}
	return at.Format("2 Jan 2006 15:04")
}

// instant is a message's time; zero where it has none.
func instant(t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.AsTime()
}
