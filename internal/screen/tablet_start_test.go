package screen

import "testing"

// A row of the start page has room for two things that stand open; what does not find it
// is folded away, and nothing is left out. A stop that cannot be released yet does not
// take the room of a check.
func TestVehicles_OpenOrFoldedAway(t *testing.T) {
	rows := pane{View: sampleViews(t)["vehicles"]}.Vehicles()
	for i, row := range rows {
		checks := 0
		for _, r := range row.Routines {
			if r.Steps > 0 {
				checks++
			}
		}
		open := len(row.Released) + len(row.Resumable) + len(row.Now)
		if open < 1 || open > 2 {
			t.Errorf("%s: %d things stand open", row.Configuration.GetCallSign(), open)
		}
		if len(row.Now)+len(row.Later) != checks || len(row.Released)+len(row.Held) != len(row.Stopped) {
			t.Errorf("%s: %d checks and %d, of %d; %d stops and %d, of %d", row.Configuration.GetCallSign(), len(row.Now), len(row.Later), checks, len(row.Released), len(row.Held), len(row.Stopped))
		}
		want := [3]int{0, 0, 0} // released, held, gone on with
		switch i {
		case 0:
			want[1] = 1
		case 2:
			want[2] = 1
		case 3:
			want[0] = 1
		}
		if got := [3]int{len(row.Released), len(row.Held), len(row.Resumable)}; got != want {
			t.Errorf("%s: released, held, gone on with: %v, want %v", row.Configuration.GetCallSign(), got, want)
		}
	}
	if now := rows[4].Now; len(now) != 1 || now[0].Routine.GetName() != "routines/reserve-takeover" {
		t.Errorf("a vehicle that owes its takeover check offers %v first", now)
	}
	for _, c := range rows[2].Now {
		if c.Routine.GetName() == rows[2].Resumable[0].GetRoutine() {
			t.Error("a check that is gone on with is offered anew beside it")
		}
	}
}
