package roundproof_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/testing/protocmp"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/roundproof"
	pb "bayround/proto/bayround/v1"
)

func TestCheck_ShowsWhatTheStationSigned(t *testing.T) {
	signer, public := keys(t, 0)
	s := tell(t, true)
	got, err := read(s.file(signer, public).Bytes(), public)
	if err != nil {
		t.Fatal(err)
	}
	if got.Gap != "" || len(got.Events) != 4 || got.Vehicle.GetCallSign() != "WN11" || len(got.Steps) != 2 || got.Opened.GetDriver() != "people/arkwith" || got.Checkpoint.Size != 9 {
		t.Errorf("shown is %+v", got)
	}
	if bar := got.Events[1].GetResultRecorded().GetResult().GetReading().GetValues()[0].GetAsTyped(); bar != 3.9 {
		t.Errorf("read as %v bar", bar)
	}
}

// What stands before the field that names the event before cannot be shown to be whole,
// and a round of which content was dropped cannot either: both are said, and no more is claimed.
func TestCheck_SaysWhatItCannotTell(t *testing.T) {
	signer, public := keys(t, 0)
	old := tell(t, false).file(signer, public)
	old.Events = append(old.Events[:2], old.Events[3:]...) // an answer left out
	if got, err := read(old.Bytes(), public); err != nil || !strings.Contains(got.Gap, "do not name") {
		t.Errorf("of an old record: %+v, %v", got, err)
	}
	gone := tell(t, true).file(signer, public)
	drop(gone, 3)
	got, err := read(gone.Bytes(), public)
	if err != nil || !strings.Contains(got.Gap, "only the hash") || !slices.Equal(got.Dropped, []int64{gone.Events[3].Number}) {
		t.Errorf("of a dropped answer: %+v, %v", got, err)
	}
}

func TestCheck_FindsWhatWasMadeUp(t *testing.T) {
	signer, public := keys(t, 0)
	other, otherPublic := keys(t, 1)
	for _, tc := range []struct {
		what   string
		change func(s *story, f *roundproof.File)
		says   string
	}{
		{"another key's file, shown as the station's", func(s *story, f *roundproof.File) { *f = *s.file(other, otherPublic) }, "with that key"},
		{"another key's signature under the station's name", func(s *story, f *roundproof.File) { f.Checkpoint = s.checkpoint(other) }, "its checkpoint is not one of"},
		{"an answer left out", func(_ *story, f *roundproof.File) { f.Events = slices.Delete(f.Events, 2, 3) }, "is left out"},
		{"the last but one left out", func(_ *story, f *roundproof.File) { f.Events = slices.Delete(f.Events, 3, 4) }, "is left out"},
		{"the opening left out", func(_ *story, f *roundproof.File) { f.Events = slices.Delete(f.Events, 1, 2) }, "a round is opened once"},
		{"nothing of the round", func(_ *story, f *roundproof.File) { f.Events = f.Events[:1] }, "is not there"},
		{"an event of another round", func(s *story, f *roundproof.File) { f.Events = slices.Insert(f.Events, 3, s.proven(6)) }, "is not of"},
		{"an event twice", func(_ *story, f *roundproof.File) { f.Events = slices.Insert(f.Events, 2, f.Events[2]) }, "stands behind"},
		{"two events swapped", func(_ *story, f *roundproof.File) { f.Events[2], f.Events[3] = f.Events[3], f.Events[2] }, "stands behind"},
		{"an event under another number", func(_ *story, f *roundproof.File) { f.Events[2].Number++ }, "is not in the tree"},
		{"an event changed", func(_ *story, f *roundproof.File) { f.Events[2].Record[len(f.Events[2].Record)-3] ^= 1 }, "is not in the tree"},
		{"a path cut", func(_ *story, f *roundproof.File) { f.Events[2].Path = f.Events[2].Path[1:] }, "is not in the tree"},
		{"a path of another", func(_ *story, f *roundproof.File) { f.Events[2].Path = f.Events[3].Path }, "is not in the tree"},
		{"a dropped event that nobody names", func(s *story, f *roundproof.File) {
			f.Events = slices.Insert(f.Events, 3, s.proven(6))
			drop(f, 3)
		}, "no event of the round names"},
		{"a dropped event whose hash is another", func(_ *story, f *roundproof.File) {
			drop(f, 3)
			f.Events[3].Leaf[0] ^= 1
		}, "is not in the tree"},
		{"a limit changed", func(_ *story, f *roundproof.File) {
			f.Steps[0] = bytes.Replace(f.Steps[0], []byte("Between"), []byte("Betweem"), 1)
		}, "are not those of the plan"},
		{"a step left out", func(_ *story, f *roundproof.File) { f.Steps = f.Steps[1:] }, "are not those of the plan"},
		{"another configuration of the vehicle", func(s *story, f *roundproof.File) {
			*s.ledger = ledger{t: s.t}
			s.add(&pb.JournalEvent{Event: &pb.JournalEvent_VehicleApplied{VehicleApplied: &pb.VehicleConfiguration{Name: "vehicles/wn11", Revision: 2}}})
			s.add(&pb.JournalEvent{Event: &pb.JournalEvent_RoundOpened{RoundOpened: &pb.RoundOpened{Round: &pb.Round{Name: theRound, Vehicle: "vehicles/wn11", VehicleRevision: 3}}}})
			*f = roundproof.File{Round: theRound, Key: f.Key, Events: []roundproof.Event{s.proven(1), s.proven(2)}, Checkpoint: s.checkpoint(signer)}
		}, "is not the one on which"},
		{"a second signature", func(s *story, f *roundproof.File) {
			_, after, _ := strings.Cut(s.checkpoint(other), "\n\n")
			f.Checkpoint += after
		}, "more than the one signature"},
		{"a key with something that steers a terminal", func(_ *story, f *roundproof.File) { f.Key = "\x1b[2J" + f.Key }, "with that key"},
	} {
		t.Run(tc.what, func(t *testing.T) {
			s := tell(t, true)
			f := s.file(signer, public)
			tc.change(s, f)
			_, err := read(f.Bytes(), public)
			if !fault.Is(err, fault.Lost) || !strings.Contains(err.Error(), tc.says) {
				t.Errorf("%v, want %q", err, tc.says)
			}
		})
	}
}

func TestParse_SaysWhichLine(t *testing.T) {
	signer, public := keys(t, 0)
	file := string(tell(t, true).file(signer, public).Bytes())
	for _, tc := range []struct{ what, old, with, says string }{
		{"another kind of file", "bayround round proof 1", "bayround record", "this is no proof of a round"},
		{"a newer version", "bayround round proof 1", "bayround round proof 2", "was written by a newer program"},
		{"a version with a zero before it", "bayround round proof 1", "bayround round proof 01", "not written as it must be"},
		{"no round", "\nround ", "\nvehicle ", "line 2: here must stand \"round\""},
		{"no number", "\nevent 2 ", "\nevent two ", "line 4: \"two\" is no number"},
		{"a number with a sign", "\nevent 2 ", "\nevent +2 ", "not written as it must be"},
		{"no base64", "\nevent 2 ", "\nevent 2 *", "line 4: "},
		{"no hash", "\npath ", "\npath x ", "line 5: \"x\" is no hash"},
		{"two spaces", "\npath ", "\npath  ", "not written as it must be"},
		{"a carriage return", "\nkey", "\r\nkey", "is not of"},
		{"an unknown line", "\ncheckpoint\n", "\nwitness\n", "here must stand \"checkpoint\""},
	} {
		t.Run(tc.what, func(t *testing.T) {
			changed := strings.Replace(file, tc.old, tc.with, 1)
			_, err := read([]byte(changed), public)
			if err == nil || !strings.Contains(err.Error(), tc.says) {
				t.Errorf("%v, want %q", err, tc.says)
			}
		})
	}
}

// Whatever is done to a byte or a line is found, or the file says the very same; lines may be
// left out only so that it says less.
func TestParse_FindsAnythingThatWasChanged(t *testing.T) {
	signer, public := keys(t, 0)
	story := tell(t, true)
	files := [][]byte{story.file(signer, public).Bytes(), nil}
	gone := story.file(signer, public)
	drop(gone, 3)
	files[1] = gone.Bytes()
	rapid.Check(t, func(t *rapid.T) {
		file := rapid.SampledFrom(files).Draw(t, "file")
		spoilt, how := spoil(t, file)
		got, err := read(spoilt, public)
		if err != nil || bytes.Equal(spoilt, file) {
			return
		}
		want, _ := read(file, public)
		if strings.HasPrefix(how, "lines left out") {
			shorten(want, got)
		}
		if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
			t.Errorf("%s: it says something else:\n%.300s", how, diff)
		}
	})
}

// shorten takes from a whole file what a file may come without: the configuration, the
// steps, the last events of the round, for what came after the last one it never shows, and
// others only where the file says that nobody can tell.
func shorten(whole, less *roundproof.Shown) {
	if less.Vehicle == nil {
		whole.Vehicle = nil
	}
	if less.Steps == nil {
		whole.Steps = nil
	}
	if less.Gap == "" {
		whole.Events, whole.Dropped, whole.Gap = whole.Events[:min(len(less.Events), len(whole.Events))], nil, ""
		return
	}
	whole.Events = slices.DeleteFunc(whole.Events, func(ev *pb.JournalEvent) bool {
		return !slices.ContainsFunc(less.Events, func(o *pb.JournalEvent) bool { return o.GetSequence() == ev.GetSequence() })
	})
}

// Every single line left out, doubled or swapped with the next one is found.
func TestParse_FindsEachLine(t *testing.T) {
	signer, public := keys(t, 0)
	lines := bytes.SplitAfter(tell(t, true).file(signer, public).Bytes(), []byte("\n"))
	lines = lines[:len(lines)-1] // nothing stands behind the last line feed
	for i := range lines {
		without := slices.Delete(slices.Clone(lines), i, i+1)
		twice := slices.Insert(slices.Clone(lines), i, lines[i])
		for how, changed := range map[string][][]byte{"left out": without, "twice": twice} {
			if _, err := read(bytes.Join(changed, nil), public); err == nil {
				t.Errorf("line %d %s: nothing was found", i+1, how)
			}
		}
		if i == 0 || bytes.Equal(lines[i], lines[i-1]) {
			continue
		}
		swapped := slices.Clone(lines)
		swapped[i-1], swapped[i] = swapped[i], swapped[i-1]
		if _, err := read(bytes.Join(swapped, nil), public); err == nil {
			t.Errorf("line %d swapped with the one before: nothing was found", i+1)
		}
	}
}

// spoil changes a file in one of the ways in which a file is changed.
func spoil(t *rapid.T, file []byte) (spoilt []byte, how string) {
	lines := bytes.SplitAfter(file, []byte("\n"))
	at, line := rapid.IntRange(0, len(file)-1).Draw(t, "at"), rapid.IntRange(0, len(lines)-2).Draw(t, "line")
	other := rapid.IntRange(0, len(lines)-2).Draw(t, "other")
	switch how = rapid.SampledFrom([]string{"changed", "bit", "removed", "added", "cut", "lines swapped", "lines left out"}).Draw(t, "how"); how {
	case "changed":
		spoilt = bytes.Clone(file)
		spoilt[at] = rapid.Byte().Draw(t, "byte")
	case "bit":
		spoilt = bytes.Clone(file)
		spoilt[at] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
	case "removed":
		spoilt = slices.Delete(bytes.Clone(file), at, at+1)
	case "added":
		spoilt = slices.Insert(bytes.Clone(file), at, rapid.Byte().Draw(t, "byte"))
	case "cut":
		spoilt = file[:at]
	case "lines swapped":
		lines[line], lines[other] = lines[other], lines[line]
		spoilt = bytes.Join(lines, nil)
	case "lines left out":
		first, last := min(line, other), max(line, other)
		spoilt = bytes.Join(slices.Delete(lines, first, last), nil)
	}
	return spoilt, fmt.Sprintf("%s at byte %d, line %d and %d", how, at, line+1, other+1)
}

// Whatever the bytes are: no crash; what is read can be written again and is the same; and
// nothing is shown that the station did not sign.
func FuzzParse(f *testing.F) {
	signer, public := keys(f, 0)
	whole := tell(f, true).file(signer, public)
	f.Add(whole.Bytes())
	f.Add(tell(f, false).file(signer, public).Bytes())
	drop(whole, 3)
	f.Add(whole.Bytes())
	f.Add(whole.Bytes()[:400])
	f.Add([]byte("bayround round proof 1\nround r\nkey k\nevent 1 AA==\npath\ndropped 9223372036854775807 " + tlog.Hash{}.String() + "\npath\ncheckpoint\n"))
	signed := map[string]bool{}
	for _, story := range []*story{tell(f, true), tell(f, false)} {
		for _, record := range story.events {
			signed[string(record)] = true
		}
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		read, err := roundproof.Parse(file)
		if err != nil {
			return
		}
		if !bytes.Equal(read.Bytes(), file) {
			t.Fatalf("it is written again as\n%s", read.Bytes())
		}
		if _, err := read.Check(public); err != nil {
			return
		}
		for _, ev := range read.Events {
			if len(ev.Record) > 0 && !signed[string(ev.Record)] {
				t.Fatalf("event %d was never signed", ev.Number)
			}
		}
	})
}
