package recordfile

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"regexp"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/merkle"
	pb "bayround/proto/bayround/v1"
)

// version is that of the layout which this package writes and reads.
const version = 1

// ReasonNewer is the reason of a file that a newer program has written.
const ReasonNewer = "RECORD_FILE_NEWER"

// journalID is how a journal is called.
var journalID = regexp.MustCompile(`^[0-9a-f]{32}$`)

// chain follows the commands of a file and holds them to what must be.
type chain struct {
	head     *pb.RecordHead
	verifier note.Verifier
	tree     merkle.Edge
}

// begin makes sure of a head.
func begin(head *pb.RecordHead) (*chain, error) {
	if head.GetVersion() > version {
		return nil, fault.Newer(ReasonNewer, "the record file", uint64(head.GetVersion()), version)
	}
	if head.GetVersion() != version || !journalID.MatchString(head.GetJournalId()) || head.GetFirstSequence() < 1 {
		return nil, damaged("in its head", "version %d, journal %.40q, first event %d", head.GetVersion(), head.GetJournalId(), head.GetFirstSequence())
	}
	verifier, err := note.NewVerifier(head.GetVerifierKey())
	if err != nil {
		return nil, damaged("in its head", "the station's key cannot be read").Because(err)
	}
	subtrees, err := merkle.Hashes(head.GetSubtrees())
	if err != nil {
		return nil, damaged("in its head", "the subtrees cannot be read").Because(err)
	}
	tree, err := merkle.EdgeOf(uint64(head.GetFirstSequence()-1), subtrees)
	if err != nil {
		return nil, damaged("in its head", "the subtrees do not fit").Because(err)
	}
	return &chain{head: head, verifier: verifier, tree: tree}, nil
}

// add makes sure of a command and takes it in. After an error nothing was taken in.
func (c *chain) add(cmd *pb.RecordCommand) error {
	switch id := cmd.GetCommandId(); {
	case id == "" || len(id) > 512:
		return c.breaks("its command has an id of %d bytes, 1 to 512 are right", len(id))
	case len(cmd.GetRequestDigest()) != sha256.Size:
		return c.breaks("the digest of its command's request has %d bytes, not %d", len(cmd.GetRequestDigest()), sha256.Size)
	case len(cmd.GetEvents()) == 0:
		return c.breaks("the command that should hold it holds none")
	}
	tree := c.tree
	for i, ev := range cmd.GetEvents() {
		leaf, err := c.leaf(c.tree.Size()+uint64(i)+1, ev, cmd.GetCommandId())
		if err != nil {
			return err
		}
		if _, err := tree.Add(leaf); err != nil {
			return fmt.Errorf("hash event %d: %w", tree.Size()+1, err)
		}
	}
	for _, text := range cmd.GetApart() {
		if !holds(cmd, text) {
			return c.breaks("its command keeps a text apart of which none of its events speaks")
		}
	}
	c.tree = tree
	return nil
}

// leaf is the leaf hash of an event, which must have the number seq.
func (c *chain) leaf(seq uint64, ev *pb.RecordEvent, command string) (tlog.Hash, error) {
	switch content := ev.GetContent().(type) {
	case *pb.RecordEvent_LeafHash:
		if len(content.LeafHash) != tlog.HashSize {
			return tlog.Hash{}, breaksAt(seq, "its leaf hash has %d bytes, not %d", len(content.LeafHash), tlog.HashSize)
		}
		return tlog.Hash(content.LeafHash), nil
	case *pb.RecordEvent_Record:
		var told pb.JournalEvent
		if err := proto.Unmarshal(content.Record, &told); err != nil {
			return tlog.Hash{}, breaksAt(seq, "it cannot be read").Because(err)
		}
		if told.GetSequence() != int64(seq) || told.GetCommandId() != command {
			return tlog.Hash{}, breaksAt(seq, "event %d of command %.80q stands in its place, within command %.80q", told.GetSequence(), told.GetCommandId(), command)
		}
		return tlog.RecordHash(content.Record), nil
	}
	return tlog.Hash{}, breaksAt(seq, "there is neither its content nor its hash")
}

// holds tells whether an event of a command holds the digest of a text kept apart.
func holds(cmd *pb.RecordCommand, text *pb.ApartText) bool {
	if len(text.GetSalt()) != sha256.Size {
		return false
	}
	digest := sha256.Sum256(bytes.Join([][]byte{text.GetSalt(), text.GetContent()}, nil))
	for _, ev := range cmd.GetEvents() {
		if bytes.Contains(ev.GetRecord(), digest[:]) {
			return true
		}
	}
	return false
}

// vouched makes sure that a checkpoint is of the tree as it is now.
func (c *chain) vouched(checkpoint string) error {
	const where = "in its seal"
	if c.tree.Size() == 0 && checkpoint == "" {
		return nil // of an empty journal nothing was signed yet
	}
	signed, err := merkle.OpenCheckpoint([]byte(checkpoint), c.verifier)
	if err != nil {
		return damaged(where, "its checkpoint is not one of %s", c.verifier.Name()).Because(err)
	}
	root, err := c.tree.Root()
	if err != nil {
		return fmt.Errorf("compute the root of %d events: %w", c.tree.Size(), err)
	}
	if signed.Size != c.tree.Size() {
		return damaged(where, "its checkpoint counts %d events, the file ends at event %d", signed.Size, c.tree.Size())
	}
	if signed.Root != root {
		return damaged(fmt.Sprintf("somewhere from event %d to %d", c.head.GetFirstSequence(), c.tree.Size()),
			"they have root %s, the station signed %s; at least one event was changed", root, signed.Root)
	}
	return nil
}

// next is the head of a file that goes on from here.
func (c *chain) next() *pb.RecordHead {
	return &pb.RecordHead{
		Version: version, JournalId: c.head.GetJournalId(), VerifierKey: c.head.GetVerifierKey(),
		FirstSequence: int64(c.tree.Size() + 1), Subtrees: merkle.Bytes(c.tree.Subtrees()),
	}
}

// breaks says what is wrong at the event that comes next.
func (c *chain) breaks(format string, args ...any) error {
	return breaksAt(c.tree.Size()+1, format, args...)
}

func breaksAt(seq uint64, format string, args ...any) *fault.Fault {
	return damaged(fmt.Sprintf("at event %d", seq), format, args...)
}

// ReasonDamaged is the reason of a file that is not as it was written.
const ReasonDamaged = "RECORD_FILE_DAMAGED"

func damaged(where, format string, args ...any) *fault.Fault {
	return fault.New(fault.Lost, ReasonDamaged, "the record file breaks %s: %s", where, fmt.Sprintf(format, args...))
}
