package recordfile

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/encoding/protodelim"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// ReasonCut is the reason of a file that ends before its seal.
const ReasonCut = "RECORD_FILE_CUT"

// IsCut tells whether a file ended before its seal. What was read before is whole,
// and a checkpoint may vouch for it.
func IsCut(err error) bool {
	var f *fault.Fault
	return errors.As(err, &f) && f.Reason == ReasonCut
}

// Reader reads a record file. It is of one goroutine.
type Reader struct {
	from  *taken
	sum   hash.Hash // of every byte up to offset
	chain *chain
	whole int64 // length of the file up to the last part that was good
	seal  *pb.RecordSeal
	end   error // what Next gives from now on; nil while it goes on
}

// taken remembers what was read since it was emptied.
type taken struct {
	from   *bufio.Reader
	bytes  []byte
	failed error // why reading failed, where it did not just end
}

// Read reads.
func (t *taken) Read(p []byte) (int, error) {
	n, err := t.from.Read(p)
	t.bytes = append(t.bytes, p[:n]...)
	return n, t.note(err)
}

// ReadByte reads one byte.
func (t *taken) ReadByte() (byte, error) {
	b, err := t.from.ReadByte()
	if err == nil {
		t.bytes = append(t.bytes, b)
	}
	return b, t.note(err)
}

func (t *taken) note(err error) error {
	if err != nil && !ended(err) {
		t.failed = err
	}
	return err
}

// NewReader reads the head. A file that is none, or of a newer version, is
// refused.
func NewReader(from io.Reader) (*Reader, error) {
	r := &Reader{from: &taken{from: bufio.NewReader(from)}, sum: sha256.New()}
	line := make([]byte, len(magic))
	n, err := io.ReadFull(r.from, line)
	switch {
	case err != nil && !ended(err):
		return nil, reading(err)
	case n > 0 && !bytes.HasPrefix([]byte(magic), line[:n]):
		return nil, fault.New(fault.Lost, "RECORD_FILE_FOREIGN", "this is no record file: its first line is not %q", magic)
	case err != nil:
		return nil, r.cut()
	}
	r.passed()
	part, err := r.part()
	if err != nil {
		return nil, err
	}
	if part.GetHead() == nil {
		return nil, damaged("at its beginning", "the first part is not its head")
	}
	if r.chain, err = begin(part.GetHead()); err != nil {
		return nil, err
	}
	r.passed()
	return r, nil
}

// Head says whose record it is and where it begins. It must not be changed.
func (r *Reader) Head() *pb.RecordHead { return r.chain.head }

// Next returns the next command. The error is io.EOF at the end of a file that is
// as it was sealed; fault.Lost with ReasonCut when it ends without a seal (see
// IsCut), with ReasonDamaged at the first place that is not as it must be. After
// an error it is the same for ever.
func (r *Reader) Next() (*pb.RecordCommand, error) {
	if r.end != nil {
		return nil, r.end
	}
	cmd, err := r.next()
	r.end = err
	return cmd, err
}

func (r *Reader) next() (*pb.RecordCommand, error) {
	part, err := r.part()
	if err != nil {
		return nil, err
	}
	switch p := part.GetPart().(type) {
	case *pb.RecordPart_Command:
		if err := r.chain.add(p.Command); err != nil {
			return nil, err
		}
		r.passed()
		return p.Command, nil
	case *pb.RecordPart_Seal:
		return nil, r.sealed(p.Seal)
	case *pb.RecordPart_Head:
		return nil, r.chain.breaks("a second head stands in its place")
	}
	return nil, r.chain.breaks("a part that this program does not know stands in its place")
}

// sealed makes sure of the seal, and that it is the end; io.EOF is good.
func (r *Reader) sealed(seal *pb.RecordSeal) error {
	if err := r.chain.vouched(seal.GetCheckpoint()); err != nil {
		return err
	}
	if !bytes.Equal(r.sum.Sum(nil), seal.GetSha256()) {
		return damaged(fmt.Sprintf("somewhere before byte %d", r.whole), "its bytes are not those that were sealed")
	}
	r.passed()
	if _, err := r.from.ReadByte(); !errors.Is(err, io.EOF) {
		if err != nil {
			return reading(err)
		}
		return damaged(fmt.Sprintf("at byte %d", r.whole), "something stands behind its seal")
	}
	r.seal = seal
	return io.EOF
}

// part reads one part.
func (r *Reader) part() (*pb.RecordPart, error) {
	var part pb.RecordPart
	err := protodelim.UnmarshalOptions{MaxSize: maxPart}.UnmarshalFrom(r.from, &part)
	switch {
	case err == nil:
		return &part, nil
	case ended(err):
		return nil, r.cut()
	case r.from.failed != nil:
		return nil, reading(r.from.failed)
	}
	return nil, damaged(fmt.Sprintf("at byte %d", r.whole), "the part that begins there cannot be read").Because(err)
}

// passed moves on behind what was read.
func (r *Reader) passed() {
	r.sum.Write(r.from.bytes)
	r.whole += int64(len(r.from.bytes))
	r.from.bytes = r.from.bytes[:0]
}

// Seal returns the seal once Next has given io.EOF; nil before.
func (r *Reader) Seal() *pb.RecordSeal { return r.seal }

// Last is the sequence number of the newest event that was read; the one before
// the first when none was.
func (r *Reader) Last() uint64 { return r.chain.tree.Size() }

// Root is the root of the tree up to the newest event that was read.
func (r *Reader) Root() (tlog.Hash, error) { return r.chain.tree.Root() }

// Following is the head of a file that goes on behind what was read.
func (r *Reader) Following() *pb.RecordHead { return r.chain.next() }

// Subtrees are the hashes of the complete subtrees that the events up to the newest
// that was read make up, largest first.
func (r *Reader) Subtrees() []tlog.Hash { return r.chain.tree.Subtrees() }

// Whole is how many bytes the parts that were good take up.
func (r *Reader) Whole() int64 { return r.whole }

// Resume returns a writer that goes on behind the last good part of a file without
// a seal; to must write at the offset Whole, behind which there is nothing. The
// reader is of no more use.
func (r *Reader) Resume(to io.Writer) (*Writer, error) {
	if r.seal != nil {
		return nil, errSealed
	}
	r.end = errors.New("the file is being written on")
	return &Writer{emit: into(to), sum: r.sum, bytes: r.whole, chain: r.chain}, nil
}

func (r *Reader) cut() error {
	if r.chain == nil {
		return fault.New(fault.Lost, ReasonCut, "the record file was cut off before it said whose it is")
	}
	return fault.New(fault.Lost, ReasonCut, "the record file was cut off behind event %d: it has no seal", r.chain.tree.Size())
}

// ended tells whether there was nothing more to read.
func ended(err error) bool { return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) }

func reading(err error) error { return fmt.Errorf("read the record file: %w", err) }
