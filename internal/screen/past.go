package screen

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"bayround/internal/fault"
	"bayround/internal/round"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// Archive answers what was measured over time, where it is heading and how a finding
// came about, and says who answered.
type Archive interface {
	History(ctx context.Context, vehicle, step string) (round.Past, round.Source, error)
	Measured(ctx context.Context, vehicle string) ([]round.Past, round.Source, error)
	Forecasts(ctx context.Context, token string) (*pb.ListForecastsResponse, round.Source, error)
	Explain(ctx context.Context, vehicle, finding string) (*pb.Explanation, round.Source, error)
	Defects(ctx context.Context, vehicle string) (round.Defects, round.Source, error)
	Defect(ctx context.Context, name string) (*pb.GetDefectResponse, round.Source, error)
}

// past is a page about the past. It needs no script: it is as it was when it was
// asked for, and says when that was.
type past struct {
	shell
	pane
	Kicker, Heading string
	About           string       // the vehicle, as in addresses; empty: all of them
	From            round.Source // zero where nobody was asked
	Problem         string

	Stops     []pastStop     // of a vehicle
	Bare      []pastStep     // its steps where nothing was measured yet
	Step      *pastStep      // of a chart
	Forecasts []forecastRow  // of the fleet
	More      string         // token of the next page of them
	Explained *explainedPage // of a finding
	Defects   *pastDefects   // of a vehicle, or of all
	Defect    *pastDefect    // one
}

// pastStop is the measured steps at one stop of the walk.
type pastStop struct {
	Title string
	Steps []pastStep
}

// pastRoutes serves the pages of the past. Only the tablet's own listener has them:
// they show names.
func (s *Server) pastRoutes(mux *http.ServeMux) {
	if s.config.Archive == nil {
		return
	}
	for pattern, fill := range map[string]func(*http.Request, *past) error{
		"GET /history":                     s.allVehicles,
		"GET /history/{vehicle}":           s.oneVehicle,
		"GET /history/{vehicle}/{step...}": s.oneStep,
		"GET /forecast":                    s.forecasts,
		"GET /explain/{vehicle}/{finding}": s.explain,
		"GET /defects":                     s.fleetDefects,
		"GET /defects/{vehicle}":           s.vehicleDefects,
		"GET /defects/{vehicle}/{defect}":  s.oneDefect,
	} {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) { s.pastPage(w, r, fill) })
	}
}

// pastPage fills a page and sends it; what went wrong stands on the page, so that the
// ways back and TURNOUT are there all the same.
func (s *Server) pastPage(w http.ResponseWriter, r *http.Request, fill func(*http.Request, *past) error) {
	page := past{
		shell: shell{Title: "Bayround", Build: s.assets.build, Theme: s.config.Display.TabletTheme, assets: s.assets},
		pane:  pane{s.config.Desk.View(), s.config.Display},
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	if err := fill(r, &page); err != nil {
		status, words := pastProblem(err)
		if status == http.StatusInternalServerError {
			s.log.Error("asking about the past", "address", r.URL.Path, "error", err)
		}
		page.Heading, page.Problem = "This cannot be shown", words
		w.WriteHeader(status)
	}
	s.write(w, tabletPages, "tablet_past.html", page)
}

// pastProblem is what the browser and the driver are told of an error.
func pastProblem(err error) (status int, words string) {
	var f *fault.Fault
	switch {
	case !errors.As(err, &f):
		return http.StatusInternalServerError, "It could not be read; the kiosk’s log says why."
	case f.Kind == fault.NotFound:
		return http.StatusNotFound, capital(f.Message) + "."
	case f.Kind == fault.Invalid:
		return http.StatusBadRequest, capital(f.Message) + "."
	}
	return http.StatusServiceUnavailable, "The station was not reached, and this tablet does not know it either: " + f.Message + "."
}

// BackWords name what the way back leads to.
func (p past) BackWords() string {
	switch {
	case p.Leaving():
		return "Back to the turnout"
	case p.View.Round != nil:
		return "Back to the round"
	case p.Chosen != nil:
		return "Back to the check"
	}
	return "Back to the vehicles"
}

// Subject is the vehicle that the page is about; nil when it is about all.
func (p past) Subject() *round.Vehicle {
	for i := range p.View.Vehicles {
		if v := &p.View.Vehicles[i]; v.Configuration.GetName() == "vehicles/"+p.About {
			return v
		}
	}
	return nil
}

// FromWords say who answered, and what is not in it yet.
func (p past) FromWords() string {
	if p.From == 0 {
		return ""
	}
	words := sourceWords(p.From)
	if p.Defects != nil || p.Defect != nil {
		words = defectSourceWords(p.From)
	}
	if p.From == round.SourceStation && p.Link.Pending > 0 {
		words += fmt.Sprintf(" What this tablet has still to send (%d) is not in it.", p.Link.Pending)
	}
	return words + " As of " + p.At(p.View.Now) + "."
}

// about finds the vehicle that an address names.
func (p *past) about(r *http.Request) (*pb.VehicleConfiguration, error) {
	p.About = r.PathValue("vehicle")
	if v := p.Subject(); v != nil {
		p.Kicker = v.Configuration.GetCallSign()
		return v.Configuration, nil
	}
	name := p.About
	p.About = ""
	return nil, fault.New(fault.NotFound, "VEHICLE_UNKNOWN", "there is no vehicle %q on this tablet", name)
}

// allVehicles answers GET /history.
func (s *Server) allVehicles(_ *http.Request, p *past) error {
	p.Heading = "What was measured on which vehicle?"
	return nil
}

// oneVehicle answers GET /history/{vehicle}.
func (s *Server) oneVehicle(r *http.Request, p *past) error {
	c, err := p.about(r)
	if err != nil {
		return err
	}
	all, from, err := s.config.Archive.Measured(r.Context(), c.GetName())
	if err != nil {
		return err
	}
	p.Kicker, p.Heading, p.From = c.GetCallSign()+" · "+c.GetTitle(), "What was measured", from
	for _, one := range all {
		step := p.step(one)
		if step.Newest() == nil {
			p.Bare = append(p.Bare, step)
			continue
		}
		at := slices.IndexFunc(p.Stops, func(s pastStop) bool { return s.Title == one.Step.GetStopTitle() })
		if at < 0 {
			at = len(p.Stops)
			p.Stops = append(p.Stops, pastStop{Title: one.Step.GetStopTitle()})
		}
		p.Stops[at].Steps = append(p.Stops[at].Steps, step)
	}
	return nil
}

func (p *past) step(one round.Past) pastStep {
	return pastStep{Past: one, Vehicle: p.About, now: p.View.Now, zone: p.TimeZone}
}

// oneStep answers GET /history/{vehicle}/{step}.
func (s *Server) oneStep(r *http.Request, p *past) error {
	c, err := p.about(r)
	if err != nil {
		return err
	}
	one, from, err := s.config.Archive.History(r.Context(), c.GetName(), r.PathValue("step"))
	if err != nil {
		return err
	}
	step := p.step(one)
	p.Step, p.From, p.Heading = &step, from, capital(step.Title())
	return nil
}

// whyAddress is where a finding of a vehicle is explained, be it given as such, by the
// defect that it began or by the reason it is for the verdict; empty when it is not known.
func whyAddress(v *round.Vehicle, what any) string {
	if v == nil {
		return ""
	}
	var f *pb.Finding
	switch of := what.(type) { // what lists of the tablet hold
	case *pb.Finding:
		f = of
	case *pb.Defect:
		f = firstFinding(of)
	case *pb.Reason:
		f = of.GetFinding()
		for _, d := range v.Readiness.GetOpenDefects() {
			if of.GetDefect() != "" && d.GetName() == of.GetDefect() {
				f = firstFinding(d)
			}
		}
	}
	if f.GetFindingId() == "" {
		return ""
	}
	return "/explain/" + lastPart(v.Configuration.GetName()) + "/" + f.GetFindingId()
}

func firstFinding(d *pb.Defect) *pb.Finding {
	if len(d.GetFindings()) == 0 {
		return nil
	}
	return d.GetFindings()[0]
}

// forecastRow is one place that is heading for a bound.
type forecastRow struct {
	*pb.StepForecast
	Ahead string
}

// Verdict is what reaching the bound alone would give.
func (f forecastRow) Verdict() pb.Verdict {
	return verdict.OfEffect(f.GetForecast().GetLimit().GetEffect())
}

// Says is the forecast in a sentence.
func (f forecastRow) Says() string {
	return capital(f.GetTitle()) + " " + f.GetForecast().GetText() + ": " + effectWords(f.GetForecast().GetLimit().GetEffect()) + "."
}

// forecasts answers GET /forecast.
func (s *Server) forecasts(r *http.Request, p *past) error {
	resp, from, err := s.config.Archive.Forecasts(r.Context(), r.URL.Query().Get("page"))
	if err != nil {
		return err
	}
	p.Kicker, p.Heading, p.From, p.More = "All vehicles", "Next to reach a limit", from, resp.GetNextPageToken()
	for _, f := range resp.GetForecasts() {
		p.Forecasts = append(p.Forecasts, forecastRow{f, aheadWords(instant(f.GetForecast().GetLikely()), p.View.Now)})
	}
	return nil
}

// explainedPage is an explanation as it is read: its lines by what they tell.
type explainedPage struct {
	*pb.Explanation
	Parts []explainedPart
	Steps []string // whose numbers it rests on
}

// Weight is how serious the finding is; one that nobody could grade proves nothing.
func (e explainedPage) Weight() string {
	if f := e.GetFinding(); f.GetGrade() != pb.Grade_GRADE_UNSPECIFIED {
		return gradeWord(f.GetGrade()) + " · " + effectWords(f.GetEffect())
	}
	return verdict.OneLine(verdict.Words(verdict.OfEffect(e.GetFinding().GetEffect())))
}

// longFinding is from how many characters on a finding is set smaller, so that its
// explanation stays on one screen.
const longFinding = 110

// IsLong tells that the finding says much.
func (e explainedPage) IsLong() bool { return len(e.GetFinding().GetText()) > longFinding }

// PlaceOf is the place of a step as it can be read.
func (e explainedPage) PlaceOf(step string) string {
	return strings.ReplaceAll(lastPart(step), "-", " ")
}

type explainedPart struct {
	Word  string
	Lines []explainedLine
}

// explainedLine is a line in words; how a rule is written stands smaller behind them.
type explainedLine struct{ Text, Written string }

// lineOf takes what a line ends with in brackets from its words.
func lineOf(text string) explainedLine {
	words, written, found := strings.Cut(text, " [where ")
	if !found {
		return explainedLine{Text: text}
	}
	return explainedLine{words + ".", "where " + strings.TrimSuffix(written, "].")}
}

// explain answers GET /explain/{vehicle}/{finding}.
func (s *Server) explain(r *http.Request, p *past) error {
	c, err := p.about(r)
	if err != nil {
		return err
	}
	told, from, err := s.config.Archive.Explain(r.Context(), c.GetName(), r.PathValue("finding"))
	if err != nil {
		return err
	}
	p.Kicker, p.Heading, p.From = c.GetCallSign(), told.GetFinding().GetText(), from
	p.Explained = &explainedPage{Explanation: told}
	for _, l := range told.GetLines() {
		p.Explained.add(l)
	}
	if does := told.GetFinding().GetDriverDoes(); does != "" {
		p.Explained.Parts = append(p.Explained.Parts, explainedPart{"NOW", []explainedLine{{Text: does}}})
	}
	return nil
}

// mostLinks is how many steps an explanation leads to.
const mostLinks = 3

func (e *explainedPage) add(l *pb.ExplanationLine) {
	word := partWord(l.GetPart())
	if n := len(e.Parts); n == 0 || e.Parts[n-1].Word != word {
		e.Parts = append(e.Parts, explainedPart{Word: word})
	}
	part := &e.Parts[len(e.Parts)-1]
	part.Lines = append(part.Lines, lineOf(l.GetText()))
	if l.Number != nil && l.GetStepId() != "" && len(e.Steps) < mostLinks && !slices.Contains(e.Steps, l.GetStepId()) {
		e.Steps = append(e.Steps, l.GetStepId())
	}
}
