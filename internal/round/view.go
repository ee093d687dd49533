package round

import (
	"time"

	pb "bayround/proto/bayround/v1"
)

// Phase is what the tablet is about. Written out: the session file keeps it.
type Phase int

// The phases, in the driver's order.
const (
	PhaseVehicles Phase = 1  // choose a vehicle
	PhaseSignIn   Phase = 2  // who is driving, who assists
	PhaseBefore   Phase = 3  // what must be known before the first step
	PhaseStep     Phase = 4  // one step
	PhaseOverview Phase = 5  // what is left, what was not checked
	PhaseSign     Phase = 6  // verdict, reasons, limits, name
	PhaseHandover Phase = 7  // words for the next watch; the round has ended
	PhaseTurnout  Phase = 8  // make safe and go
	PhaseTell     Phase = 9  // what happened beside a round, and what is checked after it
	PhaseSecond   Phase = 10 // an officer signs a round that has ended
	PhaseAsleep   Phase = 11 // a round is in hand and nobody has touched the tablet for long: the driver gives the PIN
)

// View is everything the tablet shows, whole. It is never changed once given;
// any number of goroutines may read it.
type View struct {
	Version  uint64 // rises with every change
	Phase    Phase
	Now      time.Time     // when the view was made
	Lag      time.Duration // what was added to the tablet's clock for every time in it
	TimeZone *time.Location
	Station  string // the station's title
	Link     Link
	// NearsideRight says that traffic keeps right here, so that the nearside, the side of
	// the kerb, is a vehicle's right.
	NearsideRight bool
	Vehicles      []Vehicle // all, by call sign: the order never changes under a finger
	Chosen        *Vehicle  // the one dealt with; nil in PhaseVehicles
	People        []*pb.Person
	Gauges        []*pb.Gauge  // not withdrawn, by name
	Answers       *Answers     // to who is signed in; nil from PhaseStep on, and while nobody is
	Session       *Session     // nil until somebody has signed in
	Before        *Before      // in PhaseBefore
	Round         *Round       // from PhaseStep on
	Step          *Step        // in PhaseStep
	Given         *Given       // the answer given last, while it can be taken back
	Turnout       *Turnout     // in PhaseTurnout
	Telling       *Telling     // in PhaseTell
	Stock         []*pb.Stock  // what the station of the vehicle dealt with, else this tablet's, else each, has of what is topped up; empty where nobody has told
	StockTold     time.Time    // when the station of record told it
	Stocked       bool         // in PhaseVehicles: a station here keeps account of what is topped up
	Closing       *Closing     // in PhaseOverview, PhaseSign, PhaseHandover and PhaseSecond
	Locked        []*pb.Person // in PhaseSignIn: locked out of this tablet until an officer decides
	TakesBadges   bool         // in PhaseSignIn: somebody has a badge
	Badge         *pb.Person   // in PhaseSignIn: whose badge was read; nil when none was
	Awaiting      []Awaiting   // in PhaseVehicles: rounds that wait for an officer's signature, newest first
	Release       *Release     // a stopped vehicle that is to be released; nil while that page is not open
	Notice        *Notice      // what the last act led to; nil when it went well
}

// Link is how the tablet stands to the station.
type Link struct {
	Live     bool
	Since    time.Time     // since when it is, or is not, live; zero when it never was
	Pending  int           // commands recorded here and not yet acknowledged by the station
	Photos   int           // photos not yet sent
	Refused  []Refused     // what the station would not take, oldest first
	Skew     time.Duration // the tablet's clock less the station's, as last seen
	Record   string        // what is wrong with the station's record; empty when nothing is known against it
	Recovery string        // why nothing can be recorded here; empty when all is well
	Alarm    string        // why the station is not to be trusted; empty when it is
	Barred   string        // why the station does not let this tablet in, or is not the one it was enrolled at; empty when neither is known
	Loss     string        // that a person has accepted a loss at the station, until it was read
}

// Refused is a command that the station would not take. It stays in the tablet's
// own record and on its screen until somebody has read it.
type Refused struct {
	ID      string // command id, to dismiss it by
	What    string // in words, for instance "Coolant, engine bay: level"
	Message string // what the station said
	At      time.Time
}

// Vehicle is one vehicle in the list.
type Vehicle struct {
	Configuration *pb.VehicleConfiguration
	Readiness     *pb.Readiness
	Provisional   bool         // worked out on the tablet: not live, or results wait to be sent
	Routines      []RoutineDue // while a vehicle is chosen; nil from PhaseStep on
	Resumable     []*pb.Round  // open or paused rounds that can be gone on with
	Lapsing       []*pb.Defect // whose deferral is about to end, the soonest first
	Stopped       []Stopped    // by people, standing against it, in the order of its open defects
	HandOver      time.Time    // when a hand-over was written that nobody has taken over here; zero for none
}

// Stopped is that a person stopped a vehicle, until another one releases it.
type Stopped struct {
	Defect  *pb.Defect // holds who, when and why
	By      string     // who stopped it, by the name that is spoken; empty when that is not known here
	Missing string     // before it may be released, in words; empty: whoever did not repair it may
}

// RoutineDue is one routine and how much of it is due.
type RoutineDue struct {
	Routine  *pb.Routine
	Steps    int
	Unproven int    // of its steps, those that prove nothing now or have their turn
	Along    string // what a round of it takes along beside its own, in words; empty for nothing
}

// Session is who is signed in.
type Session struct {
	Driver    *pb.Person
	Assistant *pb.Person // nil when alone
	Since     time.Time
	Offline   bool // the PIN was checked while the station could not be asked
}

// Before is what must be known before the first step.
type Before struct {
	EngineStopped *time.Time             // nil: not said
	Unknown       bool                   // nobody knows when the engine last ran
	Running       bool                   // the engine runs now
	AmbientText   string                 // as typed, in degrees Celsius; empty: not read
	Figures       []Figure               // of the vehicle, each may be left empty
	ColdSteps     int                    // steps that need a cold engine
	ColdAt        *time.Time             // when the last of them can be done; nil when now, or not known
	Gauges        map[pb.Quantity]string // gauge in hand by quantity
	Quantities    []pb.Quantity          // what the plan measures with a gauge, in its order
	Resuming      bool                   // it is a return, not a start
	Time          *Time                  // nil where nobody can say
	NotAlone      []string               // titles of steps that the driver cannot do alone; none with an assistant
	AskRun        bool                   // the round was broken off by a turnout, and nobody has told of the run
}

// Time is what a round takes, by the walk and the least times of looking.
type Time struct {
	Whole, Must time.Duration // the whole round, and what must not be missed by itself
	Minutes     []int         // that can be chosen for a short round, at most five; none where none helps
	Chosen      int           // 0: the whole round
	Takes       time.Duration // what was chosen
	LeftOut     []string      // titles of steps for which there is no time then
}

// Figure is a number of the vehicle that is asked for before the first step.
type Figure struct {
	ID    string
	Title string
	Unit  string
	Text  string // as typed; empty: nobody has read it
}

// MarkState is how a step stands in the walk.
type MarkState int

// The states of a step.
const (
	MarkOpen       MarkState = 1 // not answered in this round
	MarkAnswered   MarkState = 2
	MarkFault      MarkState = 3 // answered, and something was found
	MarkNotChecked MarkState = 4
	MarkCold       MarkState = 5 // waits for a cold engine
	MarkAgain      MarkState = 6 // to be asked again after a run
)

// Mark is one step of the walk.
type Mark struct {
	StepID string
	Title  string
	Place  *pb.Place
	State  MarkState
	Stop   int       // index into Round.Stops
	Answer string    // today's answer in words; empty while there is none
	Photos []string  // that belong to it, SHA-256 in hex
	At     time.Time // when it was given, by the tablet's clock
	NoTime bool      // left out of a short round
}

// Stop is one halt of the walk.
type Stop struct {
	Title string
	Left  int // steps still open
	Steps int
}

// Round is the round as the tablet sees it.
type Round struct {
	Name       string
	Routine    *pb.Routine
	Marks      []Mark // in walking order
	Stops      []Stop
	Current    int // index into Marks; -1 when none
	Answered   int
	NotChecked int
	Opened     time.Time
	DebtS      int32    // readiness debt now
	Walk       *pb.Walk // the way through the plan; nil where none is known
}

// Field is one number to be typed.
type Field struct {
	ID         string
	Title      string
	Unit       string
	Text       string // as typed so far
	Range      string // plausible range in the unit, for instance "7.9 … 8.5"; empty when it would give the answer away
	Resolution string // what the gauge in hand shows, for instance "0.1"; empty without one
	Active     bool
	Again      string // what was read before it was read again, as typed; empty: nothing was
	Mean       string // of what was read before and what is typed; empty when one of them is missing
	CanAgain   bool   // it can be read again, and the mean counts
}

// Choice is one condition that can be seen.
type Choice struct {
	Condition *pb.Condition
	Chosen    bool
	Affected  int32      // how many show it; 0 when not counted
	Of        int32      // of how many; 0 where it is not asked
	Meaning   string     // what it means for the vehicle, once chosen: grade, effect, text
	Verdict   pb.Verdict // what the finding alone would give; unspecified when nothing
}

// Entry is the answer being made. Nothing in it is chosen beforehand.
type Entry struct {
	Kind     pb.AnswerKind
	Fields   []Field      // of a reading, or of the section of a profile that is being typed
	Section  int          // of a profile: the place round the tyre being typed, from 1
	Fewer    int          // of a profile: grooves with one less; as many as there are when none can go
	More     int          // of a profile: grooves with one more
	Sections []int        // of a profile: depths typed at each place round the tyre, at most three
	Mark     pb.LevelMark // of a level; unspecified until set
	Fraction float64
	Choices  []Choice // conditions, or faults beside a value
	Note     string
	Photos   []string // SHA-256, in hex
	Proof    *Proof   // the spot proof asked here
	Taking   *Taking  // of a number that is tapped, timed or watched; nil where it is typed
	ByHand   bool     // it is typed, where it could be tapped, timed or watched
	Ready    bool     // can be recorded as it stands
	Needs    string   // what is missing, in words, when it is not ready
}

// Taking is a number that is taken along a stretch of time.
type Taking struct {
	How      pb.ReadingHow
	Count    int       // taps, or of start and stop how many, or pressures read
	Least    int       // taps that are needed
	Since    time.Time // since when the time runs; zero when none does
	Readings []string  // pressures read, in words
	Made     string    // what was made of it, in words; empty while nothing can be
	Text     string    // the number that will be recorded
	Why      string    // why nothing can be made of it
	Cut      bool      // the tablet was started again meanwhile
}

// Proof is a spot proof.
type Proof struct {
	Question string
	Text     string
}

// Step is the step in the light.
type Step struct {
	*pb.CheckStep
	Entry       Entry
	Gauge       *pb.Gauge // in hand for it; nil when none is needed or known
	NeedsGauge  bool
	Alone       bool          // nobody assists; AlonePrompt is offered when there is one
	AloneMethod bool          // it is being looked at by that method
	HeldUntil   time.Time     // the least time of looking ends then; zero when it does not hold
	ColdAt      *time.Time    // it waits until then for a cold engine; nil when it need not
	Correcting  bool          // it was answered in this round; a new answer supersedes
	CanCure     bool          // what was found here in this round can be put right and read again
	Cure        *Given        // what was found and is being put right; the entry is the new reading
	Known       []KnownDefect // not closed here
	AskKnown    bool          // it is asked first whether that is the same, worse or gone
	Undoes      int32         // seconds a turnout would cost while it is open
	Confirm     string        // why a value must be confirmed; empty when it need not
	AskLeft     bool          // the answer is whole; it is asked whether the place was put back or is left open

	MustTellControl bool // control must be told first; until then no answer is taken
	FirstOfStop     bool
	NewWay          string // why the way from here is another than before, in words; empty where it is not
}

// Given is an answer and what it means.
type Given struct {
	StepID   string
	Title    string
	Answer   string // in words
	Former   string // the answer before, in words; empty when there was none
	FormerAt time.Time
	Findings []*pb.Finding
	Verdict  pb.Verdict // the vehicle's now
	Closed   []string   // defects it ended, in words
	Undo     bool       // can still be taken back
	CanCure  bool       // something found can be put right on the spot and read again
	ResultID string
	At       time.Time
}

// Turnout is what must be put back before the vehicle leaves.
type Turnout struct {
	Items   []SafeItem // in walking order
	DebtS   int32
	Paused  time.Time
	Away    time.Time  // when the vehicle left; zero while it is here
	Verdict pb.Verdict // the vehicle leaves on it
}

// SafeItem is one thing physically undone.
type SafeItem struct {
	StepID string
	Title  string
	Place  string
	UndoS  int32
	Done   bool
}

// Closing is the end of a round.
type Closing struct {
	Left           []Mark // open steps, in walking order
	NotAlone       []Mark // of them, what the driver cannot do alone; none with an assistant
	Minutes        int    // of a short round that is not gone on with; 0 of a whole one
	NotChecked     []NotCheckedLine
	Found          []*pb.Defect  // found in this round
	Known          []KnownDefect // open from before, worst first; those whose step is not part of the round too
	Readiness      *pb.Readiness
	Note           string     // words for the next watch, as typed
	Handover       string     // the hand-over text, made when the round ends
	GivenBy        *pb.Person // who hands over: the driver of the round
	GivenAt        time.Time  // when the driver confirmed the hand-over; zero while not
	TakenBy        *pb.Person // who took over; nil while nobody did
	Since          []string   // what has become since of what the hand-over speaks of, and what is new
	Undone         []SafeItem // must be put back before it can be signed
	ProvisionalWhy string     // empty when the verdict is the station's own
	Seen           string     // stands for all that is to be signed as it is shown; empty elsewhere than in PhaseSign and PhaseSecond
	WantsOfficer   bool       // an officer is still to sign it
	Ended          *pb.Round  // as it is on record; nil while it has not ended
}

// NotCheckedLine is a step that was not checked.
type NotCheckedLine struct {
	StepID  string
	Title   string
	Reason  pb.NotCheckedReason
	Note    string
	Meaning string // what that means for the vehicle
}

// Notice is what the last act led to when it was refused or needs a word.
type Notice struct {
	Reason  string // stable, UPPER_SNAKE_CASE
	Message string // what is wrong and what to do
	At      time.Time
}

// Bay is everything the bay display shows, whole.
type Bay struct {
	Version  uint64
	Now      time.Time
	TimeZone *time.Location
	Station  string
	Live     bool
	Since    time.Time         // since when it is, or is not, live; zero when it never was
	Heard    time.Time         // when the station was last heard, a heartbeat included, by this computer's clock; zero when it never was
	Sequence int64             // of the station's journal, as last heard
	Vehicles []*pb.Readiness   // worst first, then by call sign; as last heard
	Titles   map[string]string // of vehicles, by name
	Walk     *BayWalk          // what the tablet beside it is doing; nil when nothing
	Stopped  string            // call signs of vehicles that the tablet beside it knows to be stopped by people, live or not
	Events   []BayEvent        // what happened last, newest first, at most eight
	Alarm    string            // why the station is not to be trusted; empty when it is
}

// BayWalk is the round on the tablet that serves the display.
type BayWalk struct {
	Vehicle   string
	CallSign  string
	Driver    string // shown only on the tablet's own listener
	Assistant string // likewise
	Step      string // title of the step
	Place     string
	Command   string // what the assistant is told; empty when nothing
	GoOn      string // who says go on, in words
	Answered  int
	Steps     int
	Found     string // the defect just found, in words; empty when none
	DebtS     int32
	Turnout   bool
}

// BayEvent is one line of what happened.
type BayEvent struct {
	At   time.Time
	Text string // no person's name and nothing a person typed: all who pass read it
}

// Act is one thing a person did on the tablet: its name and the values that came
// with it, as a form sends them. The desk alone knows what they mean.
type Act struct {
	Name    string
	Values  map[string]string
	Content []byte // of a photo
}
