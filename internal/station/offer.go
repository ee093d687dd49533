package station

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"

	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/durable"
	"bayround/internal/fault"
	"bayround/internal/merkle"
	"bayround/internal/recordfile"
	pb "bayround/proto/bayround/v1"
)

const (
	// RefillFolder holds, in the directory of the record, what tablets offered while
	// it was behind: one record file for each device, sealed or cut.
	RefillFolder = "refill"
	refillSuffix = ".record"
	// refillBytes and refillFiles bound what is kept.
	refillBytes = 1 << 30
	refillFiles = 16
)

// deviceName is how a device is called; it becomes a file's name.
var deviceName = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// refill takes copies of the record, several at once but one of each device.
type refill struct {
	mu     sync.Mutex
	taking map[string]bool // guarded by mu: devices whose copy is being taken
}

func (r *refill) begin(device string) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.taking[device] {
		return false
	}
	if r.taking == nil {
		r.taking = map[string]bool{}
	}
	r.taking[device] = true
	return true
}

// enough closes a channel, once.
func (r *refill) enough(told chan struct{}) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !isClosed(told) {
		close(told)
	}
}

func (r *refill) end(device string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	delete(r.taking, device)
}

// OfferRecord keeps the parts of a record file for the repair of a record that is
// behind. next gives them one by one, and io.EOF at the end, with or without a seal.
// The best copy of each device is kept: the one that joins on to what there is, and
// among those the one that reaches farthest.
func (s *Station) OfferRecord(_ context.Context, next func() (*pb.OfferRecordRequest, error)) (*pb.OfferRecordResponse, error) {
	signed, behind := s.journal.Behind()
	if !behind {
		return nil, fault.New(fault.Precondition, "RECORD_COMPLETE", "the record is not behind; no copy of it is needed")
	}
	known, err := opened(s.journal, signed)
	if err != nil {
		return nil, err
	}
	roots, err := s.claimed()
	if err != nil {
		return nil, err
	}
	first, err := next()
	if err != nil {
		return nil, err
	}
	device := first.GetDevice()
	if !deviceName.MatchString(device) {
		return nil, invalid("DEVICE_INVALID", "device", "the first piece names the device: lower-case letters, digits and single hyphens, for instance tablet-1")
	}
	if err := s.ours(first.GetPart().GetHead()); err != nil {
		return nil, err
	}
	if !s.refill.begin(device) {
		return nil, fault.New(fault.Unavailable, "REFILL_BUSY", "a copy of %s is being taken; offer it again later", device)
	}
	defer s.refill.end(device)
	o := &offered{station: s, device: device, known: known, roots: roots}
	if o.dir, err = s.refillFolder(device); err != nil {
		return nil, err
	}
	return o.take(first.GetPart().GetHead(), next)
}

// ours makes sure that a head is of this journal, and joins on where it can.
func (s *Station) ours(head *pb.RecordHead) error {
	if head == nil {
		return invalid("RECORD_HEADLESS", "part", "the first piece must be the head of a record file")
	}
	if head.GetJournalId() != s.journal.ID() || head.GetVerifierKey() != s.journal.Verifier() {
		return invalid("RECORD_FOREIGN", "part.head", "this is a copy of journal %.40q of another station; it is of no use here", head.GetJournalId())
	}
	if head.GetFirstSequence() < 1 || uint64(head.GetFirstSequence()) > s.journal.Size()+1 {
		return nil // nothing to compare it with; a file without a beginning is refused later
	}
	ours, err := s.journal.Subtrees(uint64(head.GetFirstSequence()))
	if err != nil {
		return err
	}
	theirs, err := merkle.Hashes(head.GetSubtrees())
	if err != nil || !slices.Equal(ours, theirs) {
		return differs()
	}
	return nil
}

func differs() error {
	return invalid("RECORD_DIFFERS", "part", "the copy is of another history than this record: keep it, and find out which is true")
}

// refillFolder makes the folder and sees that there is room for one more.
func (s *Station) refillFolder(device string) (dir string, err error) {
	dir = filepath.Join(s.dir, RefillFolder)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fmt.Errorf("make the folder of copies: %w", err)
	}
	held, err := filepath.Glob(filepath.Join(dir, "*"+refillSuffix))
	if err != nil {
		return "", err
	}
	if _, err := os.Stat(filepath.Join(dir, device+refillSuffix)); err != nil && len(held) >= refillFiles {
		return "", fault.New(fault.Exhausted, "REFILL_FULL", "copies of %d devices are kept already; repair the record with them", len(held))
	}
	return dir, nil
}

// offered is one copy being taken.
type offered struct {
	station *Station
	device  string
	dir     string
	known   merkle.Checkpoint    // the highest that is known
	roots   map[uint64]tlog.Hash // of all that are known and count more than the record holds
	file    *recordfile.Writer
	reaches bool // it holds every event that the known checkpoint counts, and they are those
}

// take writes the copy beside the one that is kept, and keeps the better one.
func (o *offered) take(head *pb.RecordHead, next func() (*pb.OfferRecordRequest, error)) (*pb.OfferRecordResponse, error) {
	name := filepath.Join(o.dir, o.device+refillSuffix)
	draft, err := durable.Begin(name)
	if err != nil {
		return nil, fmt.Errorf("keep a copy of %s: %w", o.device, err)
	}
	defer draft.Discard()
	to := bufio.NewWriterSize(draft, 128<<10)
	if err := o.write(to, head, next); err != nil {
		return nil, err
	}
	if err := errors.Join(to.Flush(), draft.Seal()); err != nil {
		return nil, fmt.Errorf("keep a copy of %s: %w", o.device, err)
	}
	kept, taken := o.kept(name), extent{first: uint64(head.GetFirstSequence()), last: o.file.Last(), reaches: o.reaches}
	size := o.station.journal.Size()
	if kept.better(taken, size) {
		return kept.answer(size), draft.Discard()
	}
	if err := draft.Place(); err != nil {
		return nil, fmt.Errorf("keep a copy of %s: %w", o.device, err)
	}
	answer := taken.answer(size)
	if answer.GetEnough() {
		o.station.refill.enough(o.station.mendable)
	}
	o.station.log.Warn("a device has offered a copy of the record", "device", o.device, "first", taken.first, "last", taken.last, "enough", answer.GetEnough())
	return answer, nil
}

// extent is what a copy holds.
type extent struct {
	first, last uint64
	reaches     bool // it holds every event that the known checkpoint counts, and they are those
}

// joins tells whether it joins on to a record of size events.
func (e extent) joins(size uint64) bool { return e.first != 0 && e.first <= size+1 }

// better tells whether a copy is of more use than another.
func (e extent) better(than extent, size uint64) bool {
	if e.joins(size) != than.joins(size) {
		return e.joins(size)
	}
	return e.last > than.last
}

func (e extent) answer(size uint64) *pb.OfferRecordResponse {
	return &pb.OfferRecordResponse{KeptToSequence: int64(e.last), Enough: e.joins(size) && e.reaches}
}

// kept is what the copy that is kept already holds; nothing when it cannot be read.
func (o *offered) kept(name string) (e extent) {
	f, err := os.Open(name)
	if err != nil {
		return extent{}
	}
	defer f.Close()
	r, err := recordfile.NewReader(f)
	if err != nil {
		return extent{}
	}
	e.first = uint64(r.Head().GetFirstSequence())
	for err == nil {
		if _, err = r.Next(); r.Last() == o.known.Size {
			root, rerr := r.Root()
			e.reaches = rerr == nil && root == o.known.Root
		}
	}
	if e.last = r.Last(); !errors.Is(err, io.EOF) && !recordfile.IsCut(err) {
		return extent{}
	}
	return e
}

// write takes the parts in.
func (o *offered) write(to io.Writer, head *pb.RecordHead, next func() (*pb.OfferRecordRequest, error)) (err error) {
	if o.file, err = recordfile.NewWriter(to, head); err != nil {
		return asInvalid(err)
	}
	for {
		m, err := next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		switch part := m.GetPart().GetPart().(type) {
		case *pb.RecordPart_Command:
			err = o.command(part.Command)
		case *pb.RecordPart_Seal:
			return o.seal(part.Seal.GetCheckpoint())
		default:
			err = invalid("RECORD_UNREADABLE", "part", "behind the head of a record file come commands and its seal")
		}
		if err != nil {
			return err
		}
	}
}

// command takes a command in.
func (o *offered) command(cmd *pb.RecordCommand) error {
	if err := o.file.Command(cmd); err != nil {
		return asInvalid(err)
	}
	if o.file.Bytes() > refillBytes {
		return fault.New(fault.Exhausted, "REFILL_FULL", "a copy of more than %d MiB is not kept; repair the record from a backup", refillBytes>>20)
	}
	want, signed := o.roots[o.file.Last()]
	if !signed {
		return nil
	}
	root, err := o.file.Root()
	if err != nil {
		return err
	}
	if root != want {
		return differs()
	}
	o.reaches = o.reaches || o.file.Last() == o.known.Size
	return nil
}

// seal ends the copy. It may know of more than we do.
func (o *offered) seal(checkpoint string) error {
	if err := o.file.Seal(checkpoint); err != nil {
		return asInvalid(err)
	}
	if checkpoint == "" {
		return nil
	}
	return o.station.journal.Know([]byte(checkpoint))
}

// asInvalid is what is wrong with a file, as the fault of whoever sent it.
func asInvalid(err error) error {
	var f *fault.Fault
	if !errors.As(err, &f) || f.Kind != fault.Lost {
		return err
	}
	return invalid("RECORD_UNREADABLE", "part", "%s", strings.TrimSuffix(f.Message, "."))
}
