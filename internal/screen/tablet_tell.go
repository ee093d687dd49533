package screen

import (
	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// tellWords are what the page says on which something is told.
type tellWords struct {
	Title    string
	When     string // asks when it was
	What     string // asks of what it is
	Note     string // names the words beside it
	Recorded string // is the title when it is recorded, before the time
	Follows  string // heads what was recorded
	Nothing  string // says that nothing follows; empty where nothing could
}

// Tell is what the page says.
func (p pane) Tell() tellWords {
	switch p.Telling.Of {
	case round.TaleWheels:
		return tellWords{
			Title: "Wheels fitted", When: "They were fitted:", What: "Wheels that were off, twins together: touch all", Note: "Why they were off, or empty",
			Recorded: "Recorded: wheels fitted at", Nothing: "Nothing of this vehicle is to be checked now.",
		}
	case round.TaleDelivery:
		return tellWords{Title: "Some came to the station", When: "It came:", What: "What came: touch one", Note: "Delivery note, in words, or empty", Recorded: "Recorded: came at", Follows: "Came"}
	case round.TaleCount:
		return tellWords{Title: "Counted at the station", When: "It was counted:", What: "What was counted: touch one", Note: "In words, or empty", Recorded: "Recorded: counted at", Follows: "Counted"}
	}
	return tellWords{
		Title: "Back from a run", When: "It came back:", What: "Used, or gone through: touch all that apply", Note: "What it was, in words, or empty",
		Recorded: "Recorded: back at", Follows: "Used, or gone through", Nothing: "Nothing of this vehicle is checked after a run.",
	}
}

// TellTimes are the answers to when it was that are one touch away.
func (p pane) TellTimes() []engineTime {
	return []engineTime{{0, "just now"}, {15, "15 min ago"}, {30, "30 min ago"}, {60, "1 h ago"}, {120, "2 h ago"}}
}

// ToldAt names the page that is shown, for the script: it begins anew when that changes.
func (p pane) ToldAt() string {
	at := [...]string{round.TaleRun: "back", round.TaleWheels: "wheels", round.TaleDelivery: "delivery", round.TaleCount: "count"}[p.Telling.Of]
	if p.Chosen != nil {
		at += " " + p.Chosen.Configuration.GetName()
	}
	if p.Telling.Recorded {
		at += " told"
	}
	return at
}

// TellFigure is the number that is typed beside it; nil where there is none.
type TellFigure struct{ Name, Title string }

// TellFigure is the odometer at wheels, and of stock how much it is, in the unit of what
// was touched.
func (p pane) TellFigure() *TellFigure {
	switch p.Telling.Of {
	case round.TaleRun:
		return nil
	case round.TaleWheels:
		return &TellFigure{"odometer", "Odometer, km, or empty"}
	}
	title := "How much"
	for _, c := range p.Telling.Choices {
		if c.Chosen && c.InLitres() {
			title = "Litres"
		} else if c.Chosen {
			title = "Pieces"
		}
	}
	return &TellFigure{"amount", title}
}

// SaysOf is what there was of a material, and as of when where that is not live.
func (p pane) SaysOf(c round.TellChoice) string {
	if c.Says == "" {
		return ""
	}
	return c.Says + p.stockTold()
}

// Tellers are those who may be the one who tells of it: all who may, where nobody has
// signed in.
func (p pane) Tellers() []*pb.Person {
	if p.Session != nil {
		return nil
	}
	return p.Telling.Tellers
}

// TellNeeds says what must be told before it can be recorded.
func (p pane) TellNeeds() string {
	what := p.Telling.Of == round.TaleRun
	for _, c := range p.Telling.Choices {
		what = what || c.Chosen
	}
	switch {
	case !p.Telling.Said:
		return "Say first when that was."
	case !what:
		return "Touch what it was."
	case p.Session == nil:
		return "Touch your name above: that records it."
	}
	return ""
}

// DueChoices is what is due on the vehicle after it.
func (p pane) DueChoices() []*pb.RoutineDue { return p.Telling.Due }

// AfterNeeds says that nothing must be done at once.
func (p pane) AfterNeeds() string {
	if len(p.Telling.Due) == 0 {
		return ""
	}
	return "It stays due until it is done."
}

// BrokenOff are the rounds of the vehicle that can be gone on with; none where the page
// leads back to one by itself.
func (p pane) BrokenOff() []*pb.Round {
	if p.Telling.Broken || p.Chosen == nil {
		return nil
	}
	return p.Chosen.Resumable
}

// RoutineOf is what a routine of the vehicle dealt with is called.
func (p pane) RoutineOf(name string) string { return vehicleRow{Vehicle: *p.Chosen}.RoutineTitle(name) }

// TellDoneWord leads back to where it was told from.
func (p pane) TellDoneWord() string {
	if p.Telling.Broken {
		return "To the round"
	}
	return "To the vehicles"
}
