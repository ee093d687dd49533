package screen

import (
	"bytes"
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"bayround/internal/round"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// tabletPages are the templates of the tablet.
var tabletPages = template.Must(template.New("tablet").Funcs(template.FuncMap{
	"add":           func(a, b int) int { return a + b },
	"age":           ageWords,
	"gravely":       gravely,
	"took":          tookWords,
	"capital":       capital,
	"caution":       cautionSign,
	"counted":       counted,
	"defect":        defectWords,
	"defectMark":    func(d *pb.Defect) template.HTML { return foundMark(worstOf(d)) },
	"effect":        effectWords,
	"findingMark":   func(f *pb.Finding) template.HTML { return foundMark(verdict.OfEffect(f.GetEffect())) },
	"grade":         gradeWord,
	"last":          lastPart,
	"takes":         func(d time.Duration) string { return minutes(d.Seconds()) },
	"legend":        func() string { return planLegend },
	"lost":          lostWords,
	"place":         verdict.PlaceWords,
	"foundMark":     foundMark,
	"mark":          mark,
	"pressed":       pressed,
	"num":           func(n int32) int { return int(n) },
	"quantity":      quantityWord,
	"readinessMark": func(r *pb.Readiness) template.HTML { return markWithLimits(r.GetVerdict(), len(r.GetRestrictions())) },
	"reason":        reasonWord,
	"reasons":       func() any { return reasons },
	"seconds":       func(s int32) string { return lasting(time.Duration(s) * time.Second) },
	"state":         stateWords,
	"stateWord":     markStateWord,
	"why":           whyAddress,
	"verdict":       func(v pb.Verdict) string { return verdict.OneLine(verdict.Words(v)) },
	"verdictSays":   func(r *pb.Readiness) string { return verdict.OneLine(verdict.Said(r)) },
	"words":         func(all []string) string { return strings.Join(all, ", ") },
}).ParseFS(files, "templates/tablet*.html"))

// pane is a view as the templates ask for it.
type pane struct {
	*round.View
	display Display
}

// tabletRegions draws everything the tablet shows.
func tabletRegions(v *round.View, d Display) ([]region, error) {
	p := pane{v, d}
	main, answer := p.templates()
	var regions []region
	for _, r := range []struct{ id, template string }{
		{"turnout", "turnout"},
		{"main", main}, // the right column of the page, with notice and answer
		{"notice", "notice"},
		{"answer", answer},
		{"bar", "bar"}, // the left one, with what follows
		{"given", "given"},
		{"plan", "plan"},
		{"ways", "ways"},
	} {
		var html bytes.Buffer
		if r.template != "" && (r.id != "given" || p.showsGiven()) {
			if err := tabletPages.ExecuteTemplate(&html, r.template, p); err != nil {
				return nil, fmt.Errorf("drawing %s of the tablet: %w", r.id, err)
			}
		}
		regions = append(regions, region{ID: r.id, HTML: strings.TrimSpace(html.String())})
	}
	return regions, nil
}

// templates names what is drawn as the main part and where answers are given.
func (p pane) templates() (main, answer string) {
	if p.Link.Recovery != "" {
		return "main-recovery", ""
	}
	if p.Release != nil && p.Release.Missing == "" {
		return "main-release", "answer-release"
	}
	if p.Release != nil {
		return "main-release", "answer-unreleased"
	}
	if p.ShowsAnswers() {
		return "main-answers", "answer-answers"
	}
	switch p.Phase {
	case round.PhaseSignIn:
		return "main-signin", ""
	case round.PhaseBefore:
		return "main-before", "answer-before"
	case round.PhaseStep:
		return "main-step", p.answerTemplate()
	case round.PhaseOverview:
		return "main-overview", "answer-overview"
	case round.PhaseSign:
		return "main-sign", "answer-sign"
	case round.PhaseHandover:
		return "main-handover", "answer-handover"
	case round.PhaseTell:
		return "main-tell", "answer-tell"
	case round.PhaseSecond:
		return "main-second", "answer-second"
	case round.PhaseAsleep:
		return "main-asleep", ""
	case round.PhaseTurnout:
		return "main-turnout", "answer-turnout"
	default:
		return "main-vehicles", ""
	}
}

// showsGiven tells that the last answer is still worth its place: during a turnout
// nothing else is shown, and with nothing to record nothing can be taken back.
func (p pane) showsGiven() bool {
	return (p.Phase == round.PhaseStep || p.Phase == round.PhaseOverview) && p.Link.Recovery == ""
}

// InStep tells that a step stands in the light.
func (p pane) InStep() bool { return p.Phase == round.PhaseStep && p.Link.Recovery == "" }

// Leaving tells that a turnout is already on the screen.
func (p pane) Leaving() bool { return p.Phase == round.PhaseTurnout }

// Provisional tells that what is said of the vehicle is this tablet's own opinion.
func (p pane) Provisional() bool {
	return p.Chosen != nil && p.Chosen.Provisional || !p.Link.Live || p.Link.Pending > 0
}

// PlanView is the vehicle dealt with, from above.
func (p pane) PlanView() template.HTML {
	if p.Chosen == nil || p.Phase == round.PhaseVehicles || p.Phase == round.PhaseSignIn || p.Link.Recovery != "" {
		return ""
	}
	if p.Turnout != nil {
		var items []round.SafeItem
		if p.Turnout.Away.IsZero() {
			items = p.Turnout.Items
		}
		return planView(p.Chosen.Configuration, lightAt(p.Round, items), nil, p.NearsideRight)
	}
	if p.Phase == round.PhaseTell {
		return planView(p.Chosen.Configuration, nil, nil, p.NearsideRight)
	}
	if p.Phase == round.PhaseSign || p.Phase == round.PhaseHandover || p.Phase == round.PhaseSecond || p.Phase == round.PhaseAsleep {
		return planView(p.Chosen.Configuration, lightAt(p.Round, nil), nil, p.NearsideRight) // the looking is over
	}
	return planView(p.Chosen.Configuration, p.Round, p.Step, p.NearsideRight)
}

// lightAt is a round with the light on the first thing that must be put back.
func lightAt(r *round.Round, items []round.SafeItem) *round.Round {
	if r == nil {
		return nil
	}
	lit := *r
	lit.Current = -1
	for _, item := range items {
		at := slices.IndexFunc(r.Marks, func(m round.Mark) bool { return m.StepID == item.StepID })
		if !item.Done && at >= 0 {
			lit.Current = at
			break
		}
	}
	return &lit
}

// At says an instant in the station's time.
func (p pane) At(at time.Time) string { return clockWords(at, p.Now, p.TimeZone) }

// pressed says whether a button is chosen; nothing is unless somebody chose it.
func pressed(chosen bool) template.HTMLAttr {
	if chosen {
		return ` aria-pressed="true"`
	}
	return ` aria-pressed="false"`
}

// cautionSign is the general warning sign of ISO 3864, drawn small beside words.
func cautionSign() template.HTML {
	return `<svg viewBox="0 0 24 24" aria-hidden="true" focusable="false"><path class="sign-edge" d="M12 2L23 22H1Z"/><path class="sign-bar" d="M10.8 8.5H13.2L12.8 16H11.2ZM10.8 17.5H13.2V19.8H10.8Z"/></svg>`
}
