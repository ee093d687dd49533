package station

import (
	"context"
	"errors"
	"log/slog"
	"strings"

	"bayround/internal/journal"
	pb "bayround/proto/bayround/v1"
)

// recover takes up the state the journal is in: from the rows, or from the
// events when the rows are incomplete or of another version.
func (s *Station) recover(ctx context.Context) error {
	if err := refuseNewer(s.journal); err != nil {
		return err
	}
	if s.journal.RowsComplete() {
		l := loader{journal: s.journal}
		return l.state(ctx, s.work)
	}
	s.log.Info("making the rows anew from the events", "events", s.journal.Size(), "rows_version", s.journal.RowsVersion())
	// What the replay leaves behind is what the rows say; it is taken up from
	// the rows all the same, so that there is one way to start.
	erased, err := rebuild(ctx, s.journal)
	if err != nil {
		return err
	}
	if err := s.eraseAgain(ctx, erased); err != nil {
		return err
	}
	l := loader{journal: s.journal}
	return l.state(ctx, s.work)
}

// refuseNewer errs when a newer program has written to the record: the newest event
// tells. It is never dropped. Nothing is made anew then.
func refuseNewer(j *journal.Journal) error {
	size := j.Size()
	if size == 0 {
		return nil
	}
	newest, err := j.Event(size)
	if err == nil {
		_, err = parseEvent(size, newest)
	}
	return err
}

// rebuild makes all rows anew by applying every event. erased are the digests of
// what stood apart of people who were erased.
func rebuild(ctx context.Context, j *journal.Journal) (erased [][32]byte, err error) {
	r := newReplay(j)
	err = j.Rebuild(ctx, r.project)
	return r.erased, err
}

// replay applies events as they were decided once.
type replay struct {
	journal *journal.Journal
	state   *state
	erased  [][32]byte
}

// newReplay begins before the first event.
func newReplay(j *journal.Journal) *replay {
	r := &replay{journal: j, state: newState(noArchive{})}
	r.state.horizon = int64(j.Horizon())
	return r
}

// project gives the rows of one event.
func (r *replay) project(sequence uint64, event []byte) ([]journal.Row, error) {
	ev, err := parseEvent(sequence, event)
	if err != nil {
		return nil, err
	}
	last := true
	if isConfiguration(ev) {
		if last, err = r.last(sequence, ev.GetCommandId()); err != nil {
			return nil, err
		}
	}
	if gone := ev.GetPersonErased(); gone != nil {
		r.erased = append(r.erased, r.state.refOf(gone.GetPerson()).digests()...)
	}
	var rows rowSet
	if err := r.state.apply(ev, nil, last, &rows); err != nil {
		return nil, unreadable("the history", err)
	}
	return rows.rows, nil
}

// last tells whether an event is the last one of its command.
func (r *replay) last(sequence uint64, command string) (bool, error) {
	if _, dropped := r.journal.Dropped(sequence + 1); dropped || sequence == r.journal.Size() {
		return true, nil // commands are dropped whole
	}
	next, err := r.journal.Event(sequence + 1)
	if err != nil {
		return false, err
	}
	ev, err := parseEvent(sequence+1, next)
	return ev.GetCommandId() != command, err
}

// noArchive is the archive of a replay, which keeps everything in memory.
type noArchive struct{}

func (noArchive) round(string) (*round, error) { return nil, nil }

func (noArchive) result(int64, string) (*pb.Result, error) { return nil, nil }

// liveArchive reads rounds that have ended from the rows. What is asked for is
// not in memory, so it was durable before it was forgotten.
type liveArchive struct{ station *Station }

func (a liveArchive) round(name string) (*round, error) {
	s := a.station
	l := loader{journal: s.journal}
	uuid := strings.TrimPrefix(name, "rounds/")
	f, _, err := l.frame(uuid)
	if f == nil || err != nil {
		return nil, err
	}
	v := s.work.vehicles[f.vehicle()]
	if v == nil {
		return nil, unreadable(name, errEvent)
	}
	return l.round(context.Background(), uuid, v.model, s.work.lib)
}

func (a liveArchive) result(sequence int64, stepID string) (*pb.Result, error) {
	l := loader{journal: a.station.journal}
	return l.result(sequence, stepID, true)
}

// Verify re-reads a station's whole journal offline and says what it found.
func Verify(ctx context.Context, dir string, logger *slog.Logger) (journal.Report, error) {
	return journal.Verify(ctx, journal.Options{Dir: dir, RowsVersion: rowsVersion, Logger: logger})
}

// Rebuild makes the rows of a station anew from its events, offline, and
// returns how many events there are. It verifies the journal first: nothing is
// made from a damaged record.
func Rebuild(ctx context.Context, dir string, logger *slog.Logger) (events uint64, err error) {
	if logger == nil {
		logger = slog.New(slog.DiscardHandler)
	}
	if _, err := Verify(ctx, dir, logger); err != nil {
		return 0, err
	}
	j, err := journal.Open(ctx, journal.Options{Dir: dir, RowsVersion: rowsVersion, Logger: logger})
	if err != nil {
		return 0, err
	}
	_, err = rebuild(ctx, j)
	return j.Size(), errors.Join(err, j.Close())
}
