package notify

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"bayround/internal/durable"
	"bayround/internal/fault"
	"bayround/internal/notice"
)

// asideVersion is the version of a file of a notice that was set aside.
const asideVersion = 1

// asideSuffix ends, behind the name of a subscription, the folder of its notices that
// were set aside.
const asideSuffix = ".aside"

// A notice is set aside when it was refused so often, for so long.
const (
	asideTries = 20
	asideAfter = 24 * time.Hour
)

// Aside is a notice that its receiver did not take for a day though it is there, and that
// was set aside so that those behind it come through. Nothing is lost: it lies in
// {name}.aside/{id}.json until its receiver takes it.
type Aside struct {
	Version      int           `json:"version"`
	Subscription string        `json:"subscription"`
	ID           string        `json:"id"`
	Source       string        `json:"source"`
	At           time.Time     `json:"time"` // of the event
	Notice       notice.Notice `json:"notice"`
	Since        time.Time     `json:"refused_since"`
	Tries        int           `json:"tries"`
	Error        string        `json:"last_error"`
}

// Refused counts the failures of the notice that is to be told now.
type Refused struct {
	ID    string    `json:"id"`
	Since time.Time `json:"since"`
	Tries int       `json:"tries"`
}

// hopeless tells that the notice was tried long enough.
func (r Refused) hopeless(now time.Time) bool {
	return r.Tries >= asideTries && now.Sub(r.Since) >= asideAfter
}

// refuse notes that a notice was not taken, and sets it aside when it was tried long
// enough and it is the notice and not the receiver that is in the way: the answer
// says so, or a message that tells of nothing is taken. It reports whether it did.
func (b *branch) refuse(ctx context.Context, n notice.Notice, got outcome, now time.Time) bool {
	b.change(func(s *State) {
		if s.Refused.ID != n.ID {
			s.Refused = Refused{ID: n.ID, Since: now}
		}
		s.Refused.Tries++
	})
	r := b.state.Refused
	if !r.hopeless(now) || !got.refused && b.Test(ctx, fmt.Sprintf("probe-%s-%d", n.ID, r.Tries), now) != nil {
		return false
	}
	a := Aside{
		Version: asideVersion, Subscription: b.Name, ID: n.ID, Source: b.source, At: n.At, Notice: n,
		Since: r.Since, Tries: r.Tries, Error: got.err.Error(),
	}
	if err := a.write(b.dir); err != nil {
		b.log.Error("a notice that is refused could not be set aside; it is tried further", "notice", n.ID, "cause", err)
		return false
	}
	b.change(func(s *State) { s.Refused = Refused{} })
	b.log.Error("a receiver refuses a notice; it was set aside, and those behind it are told. Look why, then send it again: server subscriptions again", "notice", n.ID, "since", r.Since, "tries", r.Tries, "cause", got.err)
	return true
}

// isAside tells that a notice was set aside before: its step was told again after a restart.
func (b *branch) isAside(n notice.Notice) bool {
	_, err := os.Stat(asidePath(b.dir, b.Name, n.ID))
	return err == nil
}

// tellAside tries what was set aside once more, now that the receiver takes notices.
func (b *branch) tellAside(ctx context.Context) {
	all, err := asides(b.dir, b.Name)
	if err != nil {
		b.log.Error("a notice that was set aside cannot be read; it stays", "cause", err)
	}
	for _, a := range all {
		got := b.again(ctx, b.client, b.dir, a, b.o.Now())
		switch {
		case got.gone:
			b.ended(got.err, b.o.Now())
			return
		case got.err != nil:
			b.log.Warn("a notice that was set aside is refused further", "notice", a.ID, "cause", got.err)
		default:
			b.change(func(s *State) { s.Delivered++ })
			b.log.Info("a notice that was set aside was taken", "notice", a.ID)
		}
	}
}

// again sends what was set aside once more. Whoever has it done with removes it.
func (s Subscription) again(ctx context.Context, by *http.Client, dir string, a Aside, now time.Time) outcome {
	a.Notice.ID, a.Notice.At = a.ID, a.At
	m, err := a.Notice.Message(s.Mode, a.Source)
	if err != nil {
		return outcome{err: err}
	}
	got := s.attempt(ctx, by, m, now)
	path := asidePath(dir, s.Name, a.ID)
	if got.err == nil {
		if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			got.err = fmt.Errorf("it was taken, but stays in the list: %w", err)
		}
		return got
	}
	if _, err := os.Stat(path); err != nil || ctx.Err() != nil {
		return got // somebody else has done with it meanwhile, or nobody has tried
	}
	a.Tries++
	a.Error = got.err.Error()
	if err := a.write(dir); err != nil {
		got.err = errors.Join(got.err, err)
	}
	return got
}

// Again sends a notice that was set aside once more, and says what went wrong. Data is
// the folder of the record; the station may be running.
func (s Subscription) Again(ctx context.Context, data string, a Aside, now time.Time) error {
	by := client()
	defer by.CloseIdleConnections()
	return s.again(ctx, by, filepath.Join(data, Folder), a, now).err
}

// Asides reads the notices that were set aside, by subscription and then as they came.
func Asides(data string) (all []Aside, err error) {
	dir := filepath.Join(data, Folder)
	folders, err := filepath.Glob(filepath.Join(dir, "*"+asideSuffix))
	if err != nil {
		return nil, err
	}
	for _, folder := range folders {
		of, err := asides(dir, strings.TrimSuffix(filepath.Base(folder), asideSuffix))
		if err != nil {
			return nil, err
		}
		all = append(all, of...)
	}
	return all, nil
}

// asides reads what was set aside of a subscription, as it came. What can be read is
// returned also with an error.
func asides(dir, name string) (all []Aside, err error) {
	files, _ := filepath.Glob(filepath.Join(dir, name+asideSuffix, "*.json")) // names hold nothing that a pattern knows
	for _, path := range files {
		a, bad := readAside(path)
		if errors.Is(bad, fs.ErrNotExist) {
			continue // taken meanwhile
		}
		if bad != nil {
			err = errors.Join(err, bad)
			continue
		}
		all = append(all, a)
	}
	slices.SortFunc(all, func(a, b Aside) int { return a.At.Compare(b.At) })
	return all, err
}

func asidePath(dir, name, id string) string {
	return filepath.Join(dir, name+asideSuffix, id+".json")
}

func (a Aside) write(dir string) error {
	content, err := json.MarshalIndent(a, "", "  ")
	if err != nil {
		return err
	}
	path := asidePath(dir, a.Subscription, a.ID)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	return durable.Replace(path, append(content, '\n'))
}

func readAside(path string) (Aside, error) {
	content, err := os.ReadFile(path)
	if err != nil {
		return Aside{}, err
	}
	a, err := parseAside(content)
	if err == nil && a.Version > asideVersion {
		return Aside{}, fault.Newer("NOTICE_NEWER", path, uint64(a.Version), asideVersion)
	}
	if err == nil && asidePath(filepath.Dir(filepath.Dir(path)), a.Subscription, a.ID) != path {
		err = errors.New("it lies in the place of another")
	}
	if err != nil {
		return Aside{}, fault.New(fault.Lost, "NOTICE_UNREADABLE", "%s, a notice that was set aside, cannot be read: %v; remove it, and ask how its vehicle stands", path, err)
	}
	return a, nil
}

func parseAside(content []byte) (Aside, error) {
	var a Aside
	if err := json.Unmarshal(content, &a); err != nil {
		return Aside{}, err
	}
	if a.Version < 1 || a.Version == asideVersion && (a.ID == "" || a.Subscription == "" || a.Source == "") {
		return Aside{}, errors.New("it is no notice that was set aside")
	}
	return a, nil
}
