package roundrecord

import (
	"fmt"
	"io"
	"strings"
	"time"
	"unicode"

	"google.golang.org/protobuf/proto"

	"bayround/internal/roundproof"
	"bayround/internal/rules"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// Proven is what a proof of a round shows, and nothing else. Times are UTC; people are
// told by their ids.
func Proven(shown *roundproof.Shown) *Record {
	r := &Record{Round: proto.CloneOf(shown.Opened), Events: shown.Events, Vehicle: shown.Vehicle, Made: time.Time{}.UTC()}
	if len(shown.Steps) > 0 {
		r.Plan = &pb.Plan{Steps: shown.Steps, Digest: shown.Opened.GetPlanDigest()}
	}
	r.Round.Answered, r.Round.NotChecked = 0, 0
	for _, row := range r.Rows() {
		if row.Superseded == 0 {
			r.Round.Answered++
		}
	}
	r.Round.NotChecked = int32(len(r.NotChecked()))
	for _, ev := range shown.Events {
		r.Round.LastActivity = ev.GetStationTime()
		goOn(r.Round, ev)
	}
	return r
}

// goOn is a round after one more of its events.
func goOn(round *pb.Round, ev *pb.JournalEvent) {
	sign := func(by *pb.Signature) {
		if by != nil {
			round.Signatures = append(round.Signatures, proto.CloneOf(by))
		}
	}
	switch e := ev.GetEvent().(type) {
	case *pb.JournalEvent_RoundStateChanged:
		round.State = e.RoundStateChanged.GetState()
		sign(e.RoundStateChanged.GetSignature())
	case *pb.JournalEvent_AssistantChanged:
		round.Assistant = e.AssistantChanged.GetAssistant()
	case *pb.JournalEvent_RoundSigned:
		sign(e.RoundSigned.GetSignature())
	case *pb.JournalEvent_ResultRecorded:
		for _, by := range round.GetSignatures() {
			by.ChangedSince = ev.GetStationTime()
		}
	}
}

// WriteText writes a round for reading in a terminal: what the events of the round say, and
// no verdict that is worked out afterwards. What stands in the record cannot steer the terminal.
func WriteText(w io.Writer, r *Record) error {
	var t text
	t.head(r)
	t.findings(r)
	t.unchecked(r)
	t.answers(r)
	t.end(r)
	_, err := io.WriteString(w, t.String())
	return err
}

// text is what is written, line by line.
type text struct{ strings.Builder }

func (t *text) line(format string, args ...any) {
	t.WriteString(strings.Map(visible, fmt.Sprintf(format, args...)))
	t.WriteByte('\n')
}

func (t *text) heading(words string) {
	t.WriteByte('\n')
	t.line("%s", words)
}

// visible puts a mark in the place of what a terminal would obey or not show.
func visible(r rune) rune {
	if unicode.IsPrint(r) {
		return r
	}
	return '\uFFFD'
}

func (t *text) head(r *Record) {
	t.line("%s: record of a round", r.CallSign())
	vehicle := r.Round.GetVehicle()
	if title := r.Vehicle.GetTitle(); title != "" {
		vehicle = title + ", " + vehicle
	}
	assistant := r.Person(r.Round.GetAssistant())
	if assistant == "" {
		assistant = "none"
	}
	last, at := "Last event", r.Round.GetLastActivity()
	if ended := r.Ended(); ended != nil {
		last, at = "Ended", ended.GetStationTime()
	}
	shown := r.ShownVerdict()
	for _, row := range [][2]string{
		{"Vehicle", fmt.Sprintf("%s, configuration %d", vehicle, r.Round.GetVehicleRevision())},
		{"Routine", r.Routine()},
		{"Round", r.Round.GetName() + ", " + r.State()},
		{"Opened", r.Instant(r.Round.GetOpened())},
		{last, r.Instant(at)},
		{"Driver", r.Person(r.Round.GetDriver())},
		{"Assistant", assistant},
		{"Device", r.Round.GetDevice()},
		{"Sent by", strings.Join(r.Senders(), "; ")},
		{"Answered", fmt.Sprintf("%d of %d steps; %d of them as not checked", r.Round.GetAnswered(), r.Round.GetSteps(), r.Round.GetNotChecked())},
		{"Verdict shown", shown.Word},
	} {
		t.line("  %-14s %s", row[0], row[1])
	}
	for _, told := range r.Unproven() {
		t.line("  Role not proven: %s. It came late, and by the record the role was another when it was done.", told)
	}
	if r.Plan == nil {
		t.line("  The plan is not there: steps are told by their ids, without limits, and what was left out cannot be told.")
	}
}

func (t *text) findings(r *Record) {
	t.heading("Findings")
	for _, f := range r.Found() {
		t.line("  %s: %s", strings.ToUpper(rules.GradeWords(f.GetGrade())), f.GetText())
		t.line("    %s.", rules.EffectWords(f.GetEffect()))
		for _, limit := range f.GetRestrictions() {
			t.line("    Limit: %s", limit.GetText())
		}
		t.line("    %s; rule %s of %s version %s", SourceWords(f.GetSource()), f.GetRule(), f.GetPack(), f.GetPackVersion())
		said := fmt.Sprintf("at the answer of event %d", f.Sequence)
		if f.Superseded != 0 {
			said += fmt.Sprintf("; the step was answered again with event %d", f.Superseded)
		}
		t.line("    %s", said)
	}
	if len(r.Found()) == 0 {
		t.line("  None: no defect found at any step that was looked at.")
	}
	t.line("  What was found in several answers together, such as twins that differ, stands at the answer that made them whole.")
	t.shown(r)
}

// shown tells what else stood before whoever signed last: that is in the events of the
// round, though it was found in other rounds, by other answers or by nobody looking.
func (t *text) shown(r *Record) {
	last, event := r.LastShown()
	if last == nil {
		t.line("  Nobody signed: what else was open then, from other rounds, does not stand in the events of this one.")
		return
	}
	t.heading(fmt.Sprintf("Shown to the signer with event %d", event))
	t.line("  %s", verdict.OneLine(verdict.Words(last.GetVerdict())))
	for _, reason := range last.GetReasons() {
		t.line("  Reason: %s", reason)
	}
	beside := r.ShownBeside()
	for _, f := range beside {
		t.line("  Also open: %s: %s", strings.ToUpper(rules.GradeWords(f.GetGrade())), f.GetText())
		t.line("    %s; at %s; rule %s of %s version %s", rules.EffectWords(f.GetEffect()), strings.Join(f.GetStepIds(), ", "), f.GetRule(), f.GetPack(), f.GetPackVersion())
	}
	if len(beside) == 0 {
		t.line("  Nothing was open but what stands above.")
	}
}

func (t *text) unchecked(r *Record) {
	t.heading("Not checked")
	for _, row := range r.NotChecked() {
		said := row.Title() + ": " + row.Reason()
		if note := row.Result.GetNote(); note != "" {
			said += "; note: " + note
		}
		t.line("  %s", said)
	}
	if len(r.NotChecked()) == 0 {
		t.line("  No step was recorded as not checked.")
	}
	for _, step := range r.Unanswered() {
		t.line("  %s: not answered in this round", StepTitle(step))
	}
	if r.Plan != nil && len(r.Unanswered()) == 0 {
		t.line("  Every step of the plan was answered.")
	}
}

func (t *text) answers(r *Record) {
	t.heading("Every answer")
	for _, row := range r.Rows() {
		said := row.Title() + ": " + row.Recorded()
		if gauge := row.Gauge(); gauge != "" {
			said += ", with " + gauge
		}
		if row.Result.GetGaugeOverdue() {
			said += " (its calibration was overdue or not known)"
		}
		if cured := row.Cured(); cured != "" {
			said += "; put right before: " + cured
		}
		if note := row.Result.GetNote(); note != "" {
			said += "; note: " + note
		}
		t.line("  %6d  %s  %s", row.Sequence, r.Clock(row.Result.GetLookedAt()), said)
		outcome := row.Outcome()
		if row.Superseded != 0 {
			outcome += fmt.Sprintf("; answered again, event %d", row.Superseded)
		}
		if row.Result.GetCorrection() {
			outcome += "; corrects a slip"
		}
		if limit := row.Step.GetLimitText(); limit != "" {
			outcome += ". Limit: " + limit
		}
		if person := row.Result.GetPerson(); person != r.Round.GetDriver() {
			outcome += " (" + r.Person(person) + ")"
		}
		t.line("          %s", outcome)
	}
	if len(r.Rows()) == 0 {
		t.line("  No answer was recorded.")
	}
}

func (t *text) end(r *Record) {
	t.heading("Signatures")
	for _, note := range r.Notes() {
		t.line("  %s", note)
	}
	for _, by := range r.Signatures() {
		t.line("  %s, as %s, on %s, known by %s: %s.", r.Person(by.GetPerson()), by.As(), r.Instant(by.At()), by.How(), by.Fit)
		if role := by.Role(); role != "" {
			t.line("    %s.", role)
		}
		t.line("    event %d, vouched for by %s; %x", by.Event, by.Sent, by.GetStatementSha256())
	}
	switch {
	case len(r.Signatures()) > 0:
	case r.Signed() != nil:
		t.line("  Finished on the device by %s on %s; no signature over its content is kept.", r.Person(r.Signed().GetPerson()), r.Instant(r.Signed().GetStationTime()))
	case r.Ended() != nil:
		t.line("  Given up by %s on %s, and not signed.", r.Person(r.Ended().GetPerson()), r.Instant(r.Ended().GetStationTime()))
	default:
		t.line("  The round is not signed.")
	}
	if r.Missing() {
		t.line("  An officer in charge has still to sign this round.")
	}
	if cautions := r.Cautions(); len(cautions) > 0 {
		t.heading("Cautions that stood with these steps")
		for _, caution := range cautions {
			t.line("  %s", caution)
		}
	}
}
