package station

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/merkle"
	pb "bayround/proto/bayround/v1"
)

// MendOptions says which record is repaired, and from what.
type MendOptions struct {
	// Dir is its directory; its station must be stopped.
	Dir string
	// Files are record files, beside those that tablets have offered (RefillFolder).
	Files []string
	// DryRun only looks.
	DryRun bool
	// Loss is what a person takes on them when copies do not reach; nil = nobody does.
	Loss *Loss
	// Now names what is put aside.
	Now time.Time
	// Logger hears warnings and worse; nil = discard.
	Logger *slog.Logger
}

// Loss says who accepts that events are gone, and why.
type Loss struct{ Person, Reason string }

// MendReport is what a repair of the record found and did.
type MendReport struct {
	Problem  string               // what is wrong with the record; empty = nothing
	Known    uint64               // how many events the highest known checkpoint counts
	Reached  uint64               // how many events there are, from the first without a gap
	Enough   bool                 // they are all that are known of, and proven
	Missing  []journal.Stretch    // what is in no source, up to the highest known checkpoint
	Newest   time.Time            // station time of the newest event before the first that is missing
	Devices  map[string]time.Time // devices that fed the record, and the station time of the newest event of each
	Nameless []string             // people of whom only the id is left, although nobody erased them
	Sources  []MendSource
	Refilled *pb.RecordRefilled // events that come from copies; nil when none do
	Done     bool               // a repaired record is in place
	Root     string             // its root
}

// MendSource is what one source of events gave.
type MendSource struct {
	Name    string
	First   uint64 // first event of it that can be used; 0 = none
	Last    uint64 // last of them
	Used    uint64 // how many events were taken from it
	Trouble string // what is wrong with it; empty = nothing
}

// Mend repairs a record that is damaged or behind. It puts together, event by event, what
// proves itself in the store, in the copies that tablets have offered and in the files named,
// and compares that with the highest checkpoint that is known. When it is all there, it takes
// the place of the record; the old store is kept among the evidence, and the station
// journals at its next Open what was brought back. When something is missing nothing
// is changed, unless a person accepts the loss: then the record goes on from what is left.
func Mend(ctx context.Context, o MendOptions) (report MendReport, err error) {
	r, err := journal.BeginRepair(o.Dir, o.Logger)
	if err != nil {
		return MendReport{}, err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	m := &mending{MendOptions: o, repair: r}
	if m.Logger == nil {
		m.Logger = slog.New(slog.DiscardHandler)
	}
	defer func() { err = errors.Join(err, m.close()) }()
	if err := m.look(ctx); err != nil {
		return m.report, err
	}
	return m.report, m.act(ctx)
}

// mending is a repair of a record under way.
type mending struct {
	MendOptions
	repair  *journal.Repair
	copies  []*copied
	salvage *journal.Salvage
	known   merkle.Checkpoint    // the highest
	signed  []byte               // known, as it was signed
	roots   map[uint64]tlog.Hash // of every checkpoint that is signed, by what it counts
	plan    []piece
	told    *telling // by the events of the plan
	report  MendReport

	unproven bool // the plan may use what does not prove itself
}

func (m *mending) close() error {
	if m.salvage == nil {
		return nil
	}
	return m.salvage.Close()
}

// look finds out how the record stands and what it can be put together from.
func (m *mending) look(ctx context.Context) error {
	offered, err := filepath.Glob(filepath.Join(m.Dir, RefillFolder, "*"+refillSuffix))
	if err != nil {
		return err
	}
	whole, damage := m.repair.Verify(ctx)
	if err := ctx.Err(); err != nil {
		return err
	}
	if damage != nil {
		m.report.Problem = damage.Error()
	} else if len(offered) == 0 && len(m.Files) == 0 {
		m.report.Known, m.report.Reached, m.report.Enough, m.report.Root = whole.Events, whole.Events, true, whole.Root
		return nil
	}
	if err := m.identify(ctx, append(offered, m.Files...)); err != nil {
		return err
	}
	if err := m.read(ctx, append(offered, m.Files...)); err != nil {
		return err
	}
	if damage == nil && m.known.Size > whole.Events {
		m.report.Problem = recordBehind(whole.Events, m.known.Size).Error()
	}
	if m.report.Problem == "" {
		m.report.Reached, m.report.Enough, m.report.Root = whole.Events, true, whole.Root
		return nil
	}
	return m.assemble(ctx)
}

// assemble plans what the record is put together from and holds it against the highest
// known checkpoint. What does not prove itself is used only when everything together does.
func (m *mending) assemble(ctx context.Context) error {
	if m.known.Size == 0 {
		return recordGone()
	}
	m.plan = m.planned(true)
	if err := m.tell(ctx); err != nil {
		return err
	}
	forked, err := m.forkedAt()
	if err != nil {
		return err
	}
	if m.told.unproven && (forked > 0 || !m.report.Enough && m.Loss == nil) {
		m.plan = m.planned(false)
		if err := m.tell(ctx); err != nil {
			return err
		}
	}
	if forked, err = m.forkedAt(); err != nil || forked == 0 {
		return err
	}
	return fault.New(fault.Lost, "RECORD_FORKED",
		"the first %d events of everything together have another root than the checkpoint of them that was signed: there are two histories, of which one source or more are; leave out files, one after the other, and keep all of them", forked)
}

// forkedAt is what the highest signed checkpoint counts that the plan does not lead to,
// although it reaches so far; 0 when it leads to all. One of events that were
// lost, and the loss accepted, need not be led to.
func (m *mending) forkedAt() (size uint64, err error) {
	_, key := m.repair.Identity()
	verifier, err := note.NewVerifier(key)
	if err != nil {
		return 0, err
	}
	for _, at := range m.told.differs {
		excused := false
		for _, loss := range m.told.losses {
			known, err := merkle.OpenCheckpoint([]byte(loss.GetKnownCheckpoint()), verifier)
			excused = excused || err == nil && uint64(loss.GetKeptEvents()) < at && at <= known.Size
		}
		if !excused {
			size = max(size, at)
		}
	}
	return size, nil
}

// tell goes through the plan and takes into the report what comes of it.
func (m *mending) tell(ctx context.Context) error {
	t, err := m.through(ctx)
	if err != nil {
		return err
	}
	m.told = t
	root, err := t.tree.Root()
	if err != nil {
		return err
	}
	r := &m.report
	r.Known, r.Reached, r.Root = m.known.Size, t.tree.Size(), root.String()
	r.Enough = t.tree.Size() == m.known.Size && root == m.known.Root
	r.Newest, r.Devices, r.Nameless = t.Newest, t.Devices, t.nameless()
	r.Missing, r.Sources, r.Refilled = m.missing(), m.sources(), m.refilled()
	return nil
}

// act puts a repaired record in place, where it may.
func (m *mending) act(ctx context.Context) error {
	r := &m.report
	switch {
	case r.Problem == "" || m.DryRun:
		return nil
	case r.Enough:
		var note []byte
		if r.Refilled != nil {
			var err error
			if note, err = proto.Marshal(&pb.JournalEvent{Event: &pb.JournalEvent_RecordRefilled{RecordRefilled: r.Refilled}}); err != nil {
				return err
			}
		}
		return m.replace(ctx, journal.Replacement{Head: m.signed, Note: note, Now: m.Now})
	case m.Loss != nil:
		note, err := m.lossNote()
		if err != nil {
			return err
		}
		return m.replace(ctx, journal.Replacement{Note: note, Now: m.Now})
	}
	return nil
}

func (m *mending) replace(ctx context.Context, n journal.Replacement) error {
	for _, c := range m.copies {
		if info, err := os.Stat(c.name); err == nil && m.told.used[c] > 0 {
			n.CopyBytes += info.Size()
		}
	}
	made, err := m.repair.Replace(ctx, n, m.commands())
	if err != nil {
		return fmt.Errorf("put the repaired record in place: %w", err)
	}
	m.report.Done, m.report.Root = true, made.Root
	return nil
}

// lossNote is the event by which a person takes the loss on them.
func (m *mending) lossNote() ([]byte, error) {
	switch {
	case m.report.Reached == 0:
		return nil, recordGone()
	case m.Loss.Reason == "":
		return nil, invalid("REASON_MISSING", "reason", "say in words why the loss is accepted; it stays in the record")
	case !m.told.people[m.Loss.Person]:
		return nil, fault.New(fault.NotFound, "PERSON_UNKNOWN", "there is no person %q in what is left of the record", m.Loss.Person)
	}
	return proto.Marshal(&pb.JournalEvent{Person: m.Loss.Person, Event: &pb.JournalEvent_RecordLossAccepted{RecordLossAccepted: &pb.RecordLossAccepted{
		KnownCheckpoint: string(m.signed), KeptEvents: int64(m.report.Reached), Reason: m.Loss.Reason,
	}}})
}

func recordGone() error {
	return fault.New(fault.Lost, "RECORD_GONE", "nothing of the record is left to go on from; restore it from a backup")
}
