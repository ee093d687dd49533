package round

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	pb "bayround/proto/bayround/v1"
)

// session is what the desk must know after it was killed. Whatever else it shows
// follows from this, the twin and the uplink.
//
// It is kept as JSON in the file session.json, replaced whole after every act
// and before every command: written beside and renamed, not synced. So a killed
// kiosk loses nothing of it; a power cut may, and then the answers are in the
// twin all the same.
type session struct {
	Version int `json:"version"` // sessionVersion

	Phase   Phase     `json:"phase"`
	Asleep  Phase     `json:"asleep,omitempty"` // in PhaseAsleep: where the round stands
	LastAct time.Time `json:"last_act"`

	Driver    string    `json:"driver,omitempty"` // people/{person}; empty when nobody has signed in
	Assistant string    `json:"assistant,omitempty"`
	SignedIn  time.Time `json:"signed_in,omitzero"`
	Roles     []pb.Role `json:"roles,omitempty"`    // the driver's, when they signed in
	Offline   bool      `json:"offline,omitempty"`  // the station could not be asked then
	ByBadge   bool      `json:"by_badge,omitempty"` // the driver's badge was read before the PIN
	Badge     string    `json:"badge,omitempty"`    // people/{person} whose badge was read on the page to sign in
	BadgeAt   time.Time `json:"badge_at,omitzero"`

	Vehicle string                 `json:"vehicle,omitempty"` // the one dealt with
	Routine string                 `json:"routine,omitempty"`
	Gauges  map[pb.Quantity]string `json:"gauges,omitempty"` // in hand

	Round    string            `json:"round,omitempty"` // under way, or to be resumed; empty before it is opened
	Resuming bool              `json:"resuming,omitempty"`
	Engine   engine            `json:"engine,omitzero"`
	Ambient  string            `json:"ambient,omitempty"` // as typed
	Figures  map[string]string `json:"figures,omitempty"` // of the vehicle before it is begun, as typed
	Again    []string          `json:"again,omitempty"`   // steps to be asked again after a run
	Told     []string          `json:"told,omitempty"`    // steps of which control was told since the round was begun or gone on with
	BrokeOff int               `json:"broke_off,omitempty"`

	Way    *way     `json:"way,omitempty"`    // the order in which steps are asked; nil for the plan's
	At     string   `json:"at,omitempty"`     // step answered last, where the driver stands; empty after a run
	Asked  string   `json:"asked,omitempty"`  // step that was lit because it was its turn
	Passed []string `json:"passed,omitempty"` // steps that the driver went on from without an answer

	Minutes int      `json:"minutes,omitempty"`  // that a short round may take; 0 for a whole one
	LeftOut []string `json:"left_out,omitempty"` // steps for which there is no time in it

	Step    string        `json:"step,omitempty"`    // in the light
	Looked  time.Duration `json:"looked,omitempty"`  // at it, up to the newest act
	Begun   bool          `json:"begun,omitempty"`   // its undoing was told
	Correct bool          `json:"correct,omitempty"` // it had been answered
	Draft   draft         `json:"draft,omitzero"`
	Confirm string        `json:"confirm,omitempty"`  // why the value must be confirmed
	AskLeft bool          `json:"ask_left,omitempty"` // it is asked how the place is left

	Given *given `json:"given,omitempty"`
	Cure  *cure  `json:"cure,omitempty"`

	Turnout *departure `json:"turnout,omitempty"`
	Telling *telling   `json:"back,omitempty"`
	RunTold bool       `json:"run_told,omitempty"` // of the turnout that broke into the round to be resumed
	Note    string     `json:"note,omitempty"`     // for the next watch, as typed
	Closed  *closed    `json:"closed,omitempty"`

	HandOvers []closed `json:"hand_overs,omitempty"` // the newest of each vehicle that was left, until the next one

	// What people have read of what became of their reports: for each person by defect
	// what stands for it (answerStamp).
	Read    map[string]map[string]string `json:"read,omitempty"`
	Answers bool                         `json:"answers,omitempty"` // their page is on the screen

	Releasing string `json:"releasing,omitempty"` // the stop whose release is on the screen

	Notice  *Notice  `json:"notice,omitempty"`
	Pending *pending `json:"pending,omitempty"`

	lit time.Time // when the looking began, less what was looked before; with its monotonic reading, so not kept
}

// sessionVersion is the version of the file that this code reads and writes.
const sessionVersion = 1

// sessionFile is its name.
const sessionFile = "session.json"

// given is the answer given last.
type given struct {
	StepID   string    `json:"step_id"`
	Title    string    `json:"title"`
	Answer   string    `json:"answer"` // in words
	Former   []byte    `json:"former,omitempty"`
	Response []byte    `json:"response,omitempty"` // a RecordResultResponse
	Closed   []string  `json:"closed,omitempty"`
	CanCure  bool      `json:"can_cure,omitempty"`
	At       time.Time `json:"at"`
}

// cure is what is being put right.
type cure struct {
	Found  given   `json:"found"`
	Result string  `json:"result"` // that found it
	Done   string  `json:"done"`
	Amount float64 `json:"amount,omitempty"`
	Unit   string  `json:"unit,omitempty"`
}

// departure is a turnout.
type departure struct {
	Items  []safeItem `json:"items,omitempty"`
	Paused time.Time  `json:"paused"`
	Away   time.Time  `json:"away,omitzero"`
}

// safeItem is one thing that was undone when the turnout came.
type safeItem struct {
	StepID string `json:"step_id"`
	Title  string `json:"title"`
	Place  string `json:"place"`
	UndoS  int32  `json:"undo_s"`
	Round  string `json:"round"`
}

// telling is something that is being told, or was told.
type telling struct {
	Of       Tale      `json:"of,omitempty"`
	Said     bool      `json:"said,omitempty"`     // when it happened was said
	When     time.Time `json:"returned,omitzero"`  // when that was
	What     []string  `json:"used,omitempty"`     // ids of choices, in the order touched
	Broken   bool      `json:"broken,omitempty"`   // a run broke into the round to be resumed
	Recorded bool      `json:"recorded,omitempty"` // the twin has it
	Words    []string  `json:"words,omitempty"`    // what was recorded
}

// closed is how a round ended.
type closed struct {
	Vehicle  string      `json:"vehicle"`
	Routine  string      `json:"routine"`
	Round    string      `json:"round"`
	Driver   string      `json:"driver"` // of the round: who hands over
	At       time.Time   `json:"at"`     // when the words were made
	Handover string      `json:"handover"`
	Open     []openThing `json:"open,omitempty"`     // that the words speak of
	GivenAt  string      `json:"given_at,omitempty"` // when the driver of the round confirmed it, RFC 3339; empty while not
	TakenBy  string      `json:"taken_by,omitempty"` // people/{person} who took over; empty while nobody did
}

// pending is a command that was decided on and whose answer is not known yet. It
// is kept before it is carried out, so that it is carried out under the same id
// after a kill.
type pending struct {
	Kind    commandKind `json:"kind"`
	Request []byte      `json:"request"`
	Answer  string      `json:"answer,omitempty"` // of a result: in words, as typed
	Former  []byte      `json:"former,omitempty"` // of a result: the one before
	Open    []open      `json:"open,omitempty"`   // of a result: the defects open at its step before

	Again    []string `json:"again,omitempty"` // of a resumption: steps to be asked again
	BrokeOff int      `json:"broke_off,omitempty"`
	Ran      bool     `json:"ran,omitempty"`    // of a resumption: the vehicle was out
	Astray   bool     `json:"astray,omitempty"` // of a result: another step was asked
}

// open is a defect that is open.
type open struct {
	Name  string `json:"name"`
	Words string `json:"words"`
}

func newSession() *session { return &session{Version: sessionVersion, Phase: PhaseVehicles} }

// readSession reads the session that a directory holds; a new one where there is
// none, or where it cannot be read: what was recorded is in the twin. One of a
// later version is refused.
func readSession(dir string, log *slog.Logger) (*session, error) {
	name := filepath.Join(dir, sessionFile)
	b, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return newSession(), nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the tablet's session: %w", err)
	}
	if err := refuseNewer("SESSION_NEWER", name, b, sessionVersion); err != nil {
		return nil, err
	}
	s := newSession()
	if err := json.Unmarshal(b, s); err != nil || s.Version != sessionVersion {
		log.Warn("the session file cannot be read, the tablet begins anew; what was recorded is safe", "file", name, "cause", err)
		return newSession(), nil
	}
	return s, nil
}

// write replaces the session file.
func (s *session) write(dir string) error {
	b, err := json.Marshal(s)
	if err != nil {
		return fmt.Errorf("encode the tablet's session: %w", err)
	}
	name := filepath.Join(dir, sessionFile)
	if err := os.WriteFile(name+".new", b, 0o600); err != nil {
		return fmt.Errorf("write the tablet's session: %w", err)
	}
	if err := os.Rename(name+".new", name); err != nil {
		return fmt.Errorf("put the tablet's session in place: %w", err)
	}
	return nil
}

// leaveRound forgets everything about the round in hand; who is signed in and
// what is in hand stays.
func (s *session) leaveRound() {
	kept := session{
		Version: s.Version, Phase: PhaseVehicles, LastAct: s.LastAct,
		Driver: s.Driver, Assistant: s.Assistant, SignedIn: s.SignedIn, Roles: s.Roles, Offline: s.Offline, ByBadge: s.ByBadge, Gauges: s.Gauges,
		Read: s.Read, Notice: s.Notice, Pending: s.Pending, HandOvers: s.handedOn(s.LastAct),
	}
	*s = kept
}

// signOut forgets who is signed in.
func (s *session) signOut() {
	s.Driver, s.Assistant, s.SignedIn, s.Offline, s.Gauges, s.Answers = "", "", time.Time{}, false, nil, false
	s.ByBadge, s.Badge, s.BadgeAt, s.Roles = false, "", time.Time{}, nil
}

// light puts a step into the light. Lighting the one that is lit changes nothing.
func (s *session) light(stepID string, now time.Time) {
	s.Phase, s.Confirm, s.AskLeft = PhaseStep, "", false
	if s.Step != stepID {
		s.Step, s.Correct, s.Begun, s.Draft = stepID, false, false, draft{}
		s.turnAway()
	}
	s.look(now)
}

// relight opens a step again that was answered in this round; what was looked at
// it before counts.
func (s *session) relight(stepID string, looked time.Duration, now time.Time) {
	s.Step = ""
	s.light(stepID, now)
	s.Correct, s.Looked, s.lit = true, looked, now.Add(-looked)
}

// look brings up to date how long the step has been looked at.
func (s *session) look(now time.Time) {
	if s.lit.IsZero() {
		s.lit = now.Add(-s.Looked)
	}
	s.Looked = max(now.Sub(s.lit), 0)
}

// turnAway ends the looking: the light goes out until the step is lit again.
func (s *session) turnAway() { s.Looked, s.lit = 0, time.Time{} }
