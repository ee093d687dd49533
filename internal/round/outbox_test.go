package round_test

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/round"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

func TestUplink_KeepsWhatIsRefusedAndGoesOn(t *testing.T) {
	o := openOfRecord(t, "name: gauges/g-1\n", "name: gauges/g-9\n")
	o.wire.Cut()
	b := newTablet(t, o.wire, "tablet-1")
	name := b.begin(firstPump)
	wrong := stationtest.Read("TYR-010/axle-1-nearside", "pressure", 8.5, "bar")
	wrong.Gauge = "gauges/g-1" // not on the station's register
	b.answer(name, stationtest.Seen(windscreen, "sound"))
	refused := b.answer(name, wrong).GetResultId()
	b.answer(name, stationtest.Seen(pumpStep, "sound"))
	b.finish(name)
	o.wire.Heal()
	b.sent()
	want, got := driven(t, b.Station), driven(t, o.Station)
	if len(got) != len(want)-1 {
		t.Errorf("%d of %d commands arrived, want all but one", len(got), len(want))
	}
	check := func(when string) {
		t.Helper()
		l := b.up.Link()
		if l.Pending != 0 || len(l.Refused) != 1 {
			t.Fatalf("%s: %+v", when, l)
		}
		r := l.Refused[0]
		if r.ID != refused || r.What != "Q1, Tyre pressure, front axle, nearside" || !strings.Contains(r.Message, "gauges/g-1") || r.At.IsZero() {
			t.Errorf("%s: %+v", when, r)
		}
	}
	check("after it was refused")
	b.restart()
	check("after a restart")
	b.up.Dismiss("another")
	check("after another was dismissed")
	b.up.Dismiss(refused)
	b.restart()
	if l := b.up.Link(); len(l.Refused) != 0 || l.Pending != 0 {
		t.Errorf("after it was dismissed: %+v", l)
	}
	sent := len(driven(t, o.Station))
	b.answer(b.begin(firstPump), stationtest.Seen(windscreen, "sound"))
	b.sent()
	if len(driven(t, o.Station)) != sent+2 {
		t.Error("after a refusal nothing more is sent")
	}
}

// A round that the station would not open takes everything in it along: that is
// one thing to be read, not a hundred.
func TestUplink_CountsWhatFallsWithARound(t *testing.T) {
	o := openOfRecord(t, "name: people/driver,", "name: people/someone,")
	o.wire.Cut()
	b := newTablet(t, o.wire, "tablet-1")
	name := b.begin(firstPump)
	b.answer(name, stationtest.Seen(windscreen, "sound"))
	b.answer(name, stationtest.Seen(pumpStep, "sound"))
	b.finish(name)
	o.wire.Heal()
	b.sent()
	l := b.up.Link()
	if len(l.Refused) != 1 || l.Refused[0].ID != name || l.Refused[0].What != "Q1, shift check: begun" ||
		!strings.Contains(l.Refused[0].Message, "people/driver") || !strings.Contains(l.Refused[0].Message, "3 further") {
		t.Errorf("refused: %+v", l.Refused)
	}
	if got := driven(t, o.Station); len(got) != 0 {
		t.Errorf("at the station: %v", got)
	}
}

func TestUplink_SendsEverythingAgainWhenItsPlaceIsLost(t *testing.T) {
	for _, tc := range []struct {
		why   string
		spoil func(t *testing.T, file string)
	}{
		{"no file", func(t *testing.T, file string) { must(t, os.Remove(file)) }},
		{"an empty file", func(t *testing.T, file string) { must(t, os.WriteFile(file, nil, 0o600)) }},
		{"half a file", func(t *testing.T, file string) {
			b, err := os.ReadFile(file)
			must(t, err)
			must(t, os.WriteFile(file, b[:len(b)/2], 0o600))
		}},
		{"another journal", rewrite("journal", "of-another")},
		{"a journal that has lost its end", rewrite("command", "of-another")},
		{"a place behind the journal's end", rewrite("acknowledged", 100_000)},
		{"numbers nobody wrote", rewrite("acknowledged", -1)},
	} {
		t.Run(tc.why, func(t *testing.T) {
			o := openOfRecord(t)
			b := newTablet(t, o.wire, "tablet-1")
			name := b.begin(firstPump)
			b.answer(name, stationtest.Seen(windscreen, "03"))
			b.sent()
			b.stop()
			tc.spoil(t, filepath.Join(b.dir, round.PlaceName))
			b.answer(name, stationtest.Seen(windscreen, "sound"))
			o.wire.Cut()
			b.start()
			if l := b.up.Link(); l.Pending != 3 {
				t.Errorf("%d commands are to be sent, want all 3", l.Pending)
			}
			o.wire.Heal()
			b.sent()
			sameRecord(t, b.Station, o.Station)
		})
	}
}

// rewrite replaces one value in the file.
func rewrite(key string, value any) func(t *testing.T, file string) {
	return func(t *testing.T, file string) {
		t.Helper()
		b, err := os.ReadFile(file)
		must(t, err)
		var all map[string]any
		must(t, json.Unmarshal(b, &all))
		if _, there := all[key]; !there {
			t.Fatalf("the file has no %q", key)
		}
		all[key] = value
		b, err = json.Marshal(all)
		must(t, err)
		must(t, os.WriteFile(file, b, 0o600))
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func TestOpenUplink_RefusesAFileOfANewerProgram(t *testing.T) {
	o := openOfRecord(t)
	b := newTablet(t, o.wire, "tablet-1")
	b.await("the station", b.up.Live)
	b.stop()
	rewrite("version", 2)(t, filepath.Join(b.dir, round.PlaceName))
	_, err := round.OpenUplink(round.Config{Twin: b.Station, Conn: b.conn, Device: b.device, Dir: b.dir})
	if !fault.Is(err, fault.Precondition) || !strings.Contains(err.Error(), "version 2") {
		t.Errorf("a file of version 2 is answered with %v", err)
	}
	rewrite("version", 1)(t, filepath.Join(b.dir, round.PlaceName))
	b.start()
}

// A tablet that was replaced in the middle of a round: the other one goes on with
// it under the name of the first, and what it does is sent all the same.
func TestUplink_SendsWhatWasDoneInTheRoundOfAnotherTablet(t *testing.T) {
	o := openOfRecord(t)
	b := newTablet(t, o.wire, "tablet-2")
	name := "rounds/" + uuid.NewString()
	open := &pb.OpenRoundRequest{
		Round: name, Vehicle: firstPump, Routine: shiftCheck, Driver: "people/driver", Device: "tablet-1", DeviceTime: timestamppb.Now(),
	}
	b.command(open)
	b.finish(name)
	b.sent()
	sameRecord(t, b.Station, o.Station)
}

// The place goes on over what was taken over, which nobody sends.
func TestUplink_PassesOverWhatIsNoCommand(t *testing.T) {
	o := openOfRecord(t)
	b := newTablet(t, o.wire, "tablet-1")
	b.await("the station", b.up.Live)
	b.ApplyAltered("call_sign: Q1", "call_sign: Q7")
	var newest int64
	must(t, b.Events(context.Background(), 1, func(ev *pb.JournalEvent) error {
		newest = ev.GetSequence()
		return nil
	}))
	b.await("the end of the journal", func() bool { return b.up.Acknowledged() >= newest })
	if got := driven(t, o.Station); len(got) != 0 {
		t.Errorf("at the station: %v", got)
	}
}
