package roundrecord

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/rules"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

//go:embed page.html
var layout string

// WriteHTML writes a round as one page that loads nothing and has a style for print.
func WriteHTML(w io.Writer, r *Record) error {
	page, err := template.New("record").Funcs(template.FuncMap{
		"grade": rules.GradeWords, "effect": rules.EffectWords, "source": SourceWords, "title": StepTitle,
	}).Parse(layout)
	if err != nil {
		return fmt.Errorf("reading the layout of the record: %w", err)
	}
	if err := page.Execute(w, r); err != nil {
		return fmt.Errorf("laying out the record: %w", err)
	}
	return nil
}

// CallSign is how the vehicle is called; its id where that is not known.
func (r *Record) CallSign() string {
	if sign := r.Vehicle.GetCallSign(); sign != "" {
		return sign
	}
	return strings.TrimPrefix(r.Round.GetVehicle(), "vehicles/")
}

// Routine is the routine's id, to be read.
func (r *Record) Routine() string { return strings.TrimPrefix(r.Round.GetRoutine(), "routines/") }

// State is where the round stands, in words.
func (r *Record) State() string { return StateWords(r.Round.GetState()) }

// Instant is an instant on paper: with its zone.
func (r *Record) Instant(at *timestamppb.Timestamp) string {
	if at == nil {
		return "not known"
	}
	return r.on(at.AsTime())
}

// MadeAt is when the page was made.
func (r *Record) MadeAt() string { return r.on(r.Made) }

func (r *Record) on(at time.Time) string {
	return at.In(r.Made.Location()).Format("2 Jan 2006 15:04:05 MST")
}

// Clock is an instant in a table of one round: the day stands above it.
func (r *Record) Clock(at *timestamppb.Timestamp) string {
	if at == nil {
		return "–"
	}
	local, opened := at.AsTime().In(r.Made.Location()), r.Round.GetOpened().AsTime().In(r.Made.Location())
	if local.Format(time.DateOnly) != opened.Format(time.DateOnly) {
		return local.Format("2 Jan 15:04:05")
	}
	return local.Format("15:04:05")
}

// Judged is a verdict as the page tells it.
type Judged struct{ What, Word, When string }

// Verdicts are the verdict the driver was shown, the one at the end and the one when
// the page was made. One that nobody knows is told as such.
func (r *Record) Verdicts() []Judged {
	end := Judged{"By the record when the round ended", "the round has not ended", "–"}
	if ended := r.Ended(); ended != nil {
		end.Word, end.When = "nobody can say any more", r.Instant(ended.GetStationTime())
	}
	if r.AtEnd != nil {
		end.Word = verdict.OneLine(verdict.Said(r.AtEnd))
	}
	return []Judged{r.ShownVerdict(), end, {"By the record when this page was made", verdict.OneLine(verdict.Said(r.Now)), r.MadeAt()}}
}

// ShownVerdict is the verdict that the driver was shown.
func (r *Record) ShownVerdict() Judged {
	shown := Judged{"Shown to the driver when the round was signed", "the round is not signed", "–"} // nor is one that was given up
	if signed := r.Signed(); signed != nil {
		shown.Word, shown.When = "none was shown", r.Instant(signed.GetStationTime())
	}
	if v := r.Ended().GetRoundStateChanged().GetShownVerdict(); v != pb.Verdict_VERDICT_UNSPECIFIED {
		shown.Word = verdict.OneLine(verdict.Words(v))
	}
	return shown
}

// Stop is a stop of the walk and how it was left.
type Stop struct {
	Title                           string
	Looked, Found, Missed, Required int
}

// Stops are the stops of the plan, in its order, each with how its steps were left:
// by the newest answer of each step.
func (r *Record) Stops() (stops []*Stop) {
	at := map[string]*Stop{}
	for _, step := range r.Plan.GetSteps() {
		if at[step.GetStop()] == nil {
			at[step.GetStop()] = &Stop{Title: step.GetStopTitle()}
			stops = append(stops, at[step.GetStop()])
		}
		at[step.GetStop()].Required++
	}
	found := map[string]bool{}
	for _, f := range r.Found() {
		for _, id := range f.GetStepIds() {
			found[id] = true
		}
	}
	for _, row := range r.Rows() {
		stop := at[row.Step.GetStop()]
		if stop == nil || row.Superseded != 0 {
			continue
		}
		if row.Result.GetNotChecked() != nil {
			continue
		}
		stop.Looked++
		if found[row.Step.GetStepId()] {
			stop.Found++
		}
	}
	for _, stop := range stops {
		stop.Missed = stop.Required - stop.Looked
	}
	return stops
}

// Said is how a stop was left, in a sentence.
func (s *Stop) Said() string {
	var said string
	switch {
	case s.Looked == 0:
		return "Nobody looked: nothing is known of it from this round."
	case s.Found == 0:
		said = fmt.Sprintf("No defect found at %d of %d steps.", s.Looked, s.Required)
	case s.Found == s.Looked:
		said = fmt.Sprintf("Something was found at every step that was looked at: %d of %d.", s.Looked, s.Required)
	default:
		said = fmt.Sprintf("Something was found at %d of %d steps; no defect found at the other %d.", s.Found, s.Looked, s.Looked-s.Found)
	}
	if s.Missed > 0 {
		said += fmt.Sprintf(" Not looked at: %d.", s.Missed)
	}
	return said
}

// NotChecked are the answers that say that nobody looked, the newest of each step.
func (r *Record) NotChecked() (rows []Row) {
	for _, row := range r.Rows() {
		if row.Result.GetNotChecked() != nil && row.Superseded == 0 {
			rows = append(rows, row)
		}
	}
	return rows
}

// Reason is why nobody looked.
func (row Row) Reason() string { return ReasonWords(row.Result.GetNotChecked().GetReason()) }

// Cautions are those of the steps that were answered, each once.
func (r *Record) Cautions() (told []string) {
	for _, row := range r.Rows() {
		told = append(told, row.Step.GetCautions()...)
	}
	return compact(told)
}

// Notes are the words that were left when the round changed its state.
func (r *Record) Notes() (told []string) {
	for _, ev := range r.Events {
		if note := ev.GetRoundStateChanged().GetNote(); note != "" {
			told = append(told, r.Clock(ev.GetStationTime())+", "+StateWords(ev.GetRoundStateChanged().GetState())+": "+note)
		}
	}
	return told
}

// Gauge is the instrument, as it is written on it.
func (row Row) Gauge() string {
	return strings.ToUpper(strings.TrimPrefix(row.Result.GetGauge(), "gauges/"))
}

// Head is the checkpoint in lines.
func (r *Record) Head() []string { return strings.Split(strings.TrimSpace(r.Checkpoint), "\n") }

// Span is which events of the record the round is.
func (r *Record) Span() string {
	first, last := r.Sequences()
	if first == 0 {
		return "none of its events could be read"
	}
	if len(r.Events) == 1 {
		return fmt.Sprintf("1 event, number %d", first)
	}
	return fmt.Sprintf("%d events, numbers %d to %d", len(r.Events), first, last)
}
