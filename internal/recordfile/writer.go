package recordfile

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/encoding/protodelim"
	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// magic is the first line of a file.
const magic = "bayround record\n"

// maxPart is the most bytes of a part.
const maxPart = 1 << 20

// errSealed says that a file has its end.
var errSealed = errors.New("the record file is sealed already")

// Writer writes a record file and holds what it writes to what a reader will hold
// it to. It is of one goroutine. After an error of the writer below nobody knows
// what was written.
type Writer struct {
	emit   func(part *pb.RecordPart, bytes []byte) error
	sum    hash.Hash // of every byte so far
	bytes  int64
	chain  *chain
	sealed bool
}

// NewWriter begins a file with its head.
func NewWriter(to io.Writer, head *pb.RecordHead) (*Writer, error) {
	return newWriter(head, into(to))
}

// NewSender is a Writer that gives away the parts of the file one by one instead
// of writing them. Whoever makes a file of them seals it anew: its bytes may be others.
func NewSender(send func(*pb.RecordPart) error, head *pb.RecordHead) (*Writer, error) {
	return newWriter(head, func(part *pb.RecordPart, _ []byte) error {
		if part == nil {
			return nil // the first line is no part
		}
		return send(part)
	})
}

func newWriter(head *pb.RecordHead, emit func(*pb.RecordPart, []byte) error) (*Writer, error) {
	chain, err := begin(head)
	if err != nil {
		return nil, err
	}
	w := &Writer{emit: emit, sum: sha256.New(), chain: chain}
	if err := w.write(nil, []byte(magic)); err != nil {
		return nil, err
	}
	return w, w.part(&pb.RecordPart{Part: &pb.RecordPart_Head{Head: head}})
}

// into has the bytes written.
func into(to io.Writer) func(*pb.RecordPart, []byte) error {
	return func(_ *pb.RecordPart, b []byte) error {
		if _, err := to.Write(b); err != nil {
			return fmt.Errorf("write the record file: %w", err)
		}
		return nil
	}
}

// Command writes the next command. One that does not follow is refused as
// fault.Lost, and nothing was written.
func (w *Writer) Command(cmd *pb.RecordCommand) error {
	if w.sealed {
		return errSealed
	}
	before := w.chain.tree
	if err := w.chain.add(cmd); err != nil {
		return err
	}
	part := &pb.RecordPart{Part: &pb.RecordPart_Command{Command: cmd}}
	if size := proto.Size(part); size > maxPart {
		w.chain.tree = before
		return fault.New(fault.Invalid, "RECORD_PART_TOO_LARGE", "command %q needs %d bytes, a part of a record file has at most %d", cmd.GetCommandId(), size, maxPart)
	}
	return w.part(part)
}

// Seal ends the file. The checkpoint must be of exactly the events up to its end;
// it is empty when the record is.
func (w *Writer) Seal(checkpoint string) error {
	if w.sealed {
		return errSealed
	}
	if err := w.chain.vouched(checkpoint); err != nil {
		return err
	}
	w.sealed = true
	return w.part(&pb.RecordPart{Part: &pb.RecordPart_Seal{Seal: &pb.RecordSeal{Checkpoint: checkpoint, Sha256: w.sum.Sum(nil)}}})
}

// Vouched makes sure that a checkpoint is of exactly the events written so far.
func (w *Writer) Vouched(checkpoint string) error { return w.chain.vouched(checkpoint) }

// Last is the sequence number of the newest event; the one before the first when
// there is none yet.
func (w *Writer) Last() uint64 { return w.chain.tree.Size() }

// Root is the root of the tree up to the newest event.
func (w *Writer) Root() (tlog.Hash, error) { return w.chain.tree.Root() }

// Following is the head of a file that goes on where this one is now.
func (w *Writer) Following() *pb.RecordHead { return w.chain.next() }

// Bytes is how long the file is now.
func (w *Writer) Bytes() int64 { return w.bytes }

func (w *Writer) part(p *pb.RecordPart) error {
	var b bytes.Buffer
	if _, err := (protodelim.MarshalOptions{MarshalOptions: proto.MarshalOptions{Deterministic: true}}).MarshalTo(&b, p); err != nil {
		return fmt.Errorf("write a part of the record file: %w", err)
	}
	return w.write(p, b.Bytes())
}

func (w *Writer) write(part *pb.RecordPart, b []byte) error {
	if err := w.emit(part, b); err != nil {
		return err
	}
	w.sum.Write(b)
	w.bytes += int64(len(b))
	return nil
}
