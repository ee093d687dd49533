package station_test

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// pinOf is what the hash of a PIN looks like; key makes one unlike the other.
func pinOf(key string) string {
	return "$argon2id$v=19$m=65536,t=3,p=1$c29tZXNhbHRzb21l$" + key + strings.Repeat("A", 43-len(key))
}

func applyPerson(k *stationtest.Kit, name, title, pin string) error {
	text := fmt.Sprintf("people:\n  - {name: %s, title: %q, roles: [ROLE_DRIVER], pin_argon2id: %q}\n", name, title, pin)
	_, err := k.Apply(ctx, &pb.ApplyRequest{RequestId: k.ID(), Files: []*pb.NamedFile{{FileName: "people.yaml", Content: []byte(text)}}})
	return err
}

func erasePerson(k *stationtest.Kit, name, by string) (*pb.ErasePersonResponse, error) {
	return k.ErasePerson(ctx, &pb.ErasePersonRequest{RequestId: k.ID(), Person: name, By: by, Reason: "left the service"})
}

// shown are the people as everybody is shown them, PINs included, by name.
func shown(k *stationtest.Kit) map[string]*pb.Person {
	all := map[string]*pb.Person{}
	for _, p := range k.Library().GetPeople() {
		all[p.GetName()] = p
	}
	return all
}

// writtenApart makes sure that none of the words stands in any event, row or receipt
// of a journal, and returns everything that stands apart.
func writtenApart(t *testing.T, dir string, words []string) (apart []byte) {
	t.Helper()
	j, err := journal.Open(ctx, journal.Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := j.Close(); err != nil {
			t.Error(err)
		}
	}()
	var written []byte
	err = j.Commands(ctx, 1, func(s journal.Stored) error {
		written = append(append(written, s.Command.ID...), s.Receipt...)
		for _, e := range s.Events {
			written = append(written, e.Record...)
		}
		for _, a := range s.Apart {
			apart = append(apart, a.Content...)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for at := uint64(1); at <= j.Size(); at++ { // every version of every row
		err := j.Rows(ctx, "in-force/", at, func(key string, value []byte) error {
			written = append(append(written, key...), value...)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	err = j.Rows(ctx, "", 0, func(key string, value []byte) error {
		written = append(append(written, key...), value...)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range words {
		if bytes.Contains(written, []byte(word)) {
			t.Errorf("%q stands in an event, a row or a receipt", word)
		}
	}
	return apart
}

// inFilesOf names the files of a directory that hold a word.
func inFilesOf(t *testing.T, dir, word string) (holding []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // a head or a table was replaced meanwhile
		}
		if err != nil || entry.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if bytes.Contains(content, []byte(word)) {
			holding = append(holding, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return holding
}

// people is a station, its twin and who should be known there.
type people struct {
	t       *testing.T
	k, twin *stationtest.Kit
	want    map[string]*pb.Person
	words   []string // every title and PIN ever given
	gone    []string // those of people who were erased
	n       int
}

func (p *people) apply(rt *rapid.T, name string) {
	p.n++
	title, pin := fmt.Sprintf("Ottoline the %dth", p.n), pinOf(fmt.Sprintf("Key%d", p.n))
	if rapid.Bool().Draw(rt, "without a PIN") {
		pin = ""
	}
	err := applyPerson(p.k, name, title, pin)
	if p.want[name].GetErased() {
		if !fault.Is(err, fault.Precondition) {
			rt.Fatalf("one who was erased is applied anew: %v", err)
		}
		return
	}
	if err != nil {
		rt.Fatal(err)
	}
	p.words = append(p.words, title)
	if pin != "" {
		p.words = append(p.words, pin)
	}
	p.want[name] = &pb.Person{Name: name, Title: title, PinArgon2Id: pin, Roles: []pb.Role{pb.Role_ROLE_DRIVER}}
}

func (p *people) erase(rt *rapid.T, name string) {
	before := p.want[name]
	_, err := erasePerson(p.k, name, "people/mechanic")
	if before == nil || before.GetErased() {
		if err == nil {
			rt.Fatalf("%s is erased: %v", name, before)
		}
		return
	}
	if err != nil {
		rt.Fatal(err)
	}
	p.want[name] = &pb.Person{Name: name, Title: "erased person", Erased: true}
	p.gone = append(p.gone, before.GetTitle())
	if before.GetPinArgon2Id() != "" {
		p.gone = append(p.gone, before.GetPinArgon2Id())
	}
}

func (p *people) check(rt *rapid.T, k *stationtest.Kit) {
	got := shown(k)
	for name, want := range p.want {
		if d := diff(want, got[name]); d != "" {
			rt.Fatalf("%s (-want +got):\n%s", name, d)
		}
	}
}

// Whoever is put in force, changed and erased, here and at a twin: everybody is
// shown by name until erased, and no name or PIN ever stands in an event, a row or
// a receipt, nor that of who was erased in any file.
func TestPeople_StandApartUntilErased(t *testing.T) {
	k := stationtest.Open(t)
	p := &people{t: t, k: k, twin: k.Twin(), want: map[string]*pb.Person{}}
	rapid.Check(t, func(rt *rapid.T) {
		for range rapid.IntRange(1, 4).Draw(rt, "steps") {
			name := fmt.Sprintf("people/p%d", rapid.IntRange(1, 8).Draw(rt, "person"))
			switch rapid.SampledFrom([]string{"apply", "apply", "apply", "erase", "adopt", "reopen"}).Draw(rt, "step") {
			case "apply":
				p.apply(rt, name)
			case "erase":
				p.erase(rt, name)
			case "adopt":
				p.twin.AdoptLibrary(k)
				p.check(rt, p.twin)
				if again := p.twin.AdoptLibrary(k); again {
					rt.Fatal("taking over the same again changed something")
				}
			case "reopen":
				k.Reopen()
			}
			p.check(rt, k)
		}
	})
	p.twin.AdoptLibrary(k)
	if k.Digest() != p.twin.Digest() {
		t.Error("the twin has other people")
	}
	for _, k := range []*stationtest.Kit{k, p.twin} {
		if _, err := station.Verify(ctx, k.Dir(), nil); err == nil {
			t.Error("verified while it was open: this is not the journal")
		}
		if err := k.Station.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := station.Verify(ctx, k.Dir(), nil); err != nil {
			t.Error(err)
		}
		apart := writtenApart(t, k.Dir(), p.words)
		for name, want := range p.want {
			if there := bytes.Contains(apart, []byte(want.GetTitle())); there == want.GetErased() {
				t.Errorf("%s, erased %v, stands apart: %v", name, want.GetErased(), there)
			}
		}
		for _, word := range p.gone {
			if in := inFilesOf(t, k.Dir(), word); len(in) > 0 {
				t.Errorf("%q was erased and stands in %v", word, in)
			}
		}
	}
	if len(p.gone) == 0 {
		t.Error("nobody was erased")
	}
}
