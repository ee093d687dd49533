package recordfile

import (
	"errors"
	"io"

	pb "bayround/proto/bayround/v1"
)

// Receive writes a file of parts that come one by one, as from a Sender. next gives
// io.EOF behind the seal. The seal is made anew: the bytes that were sent may be
// others.
func Receive(to io.Writer, next func() (*pb.RecordPart, error)) error {
	first, err := next()
	if err != nil {
		return early(err)
	}
	if first.GetHead() == nil {
		return damaged("at its beginning", "the first part is not its head")
	}
	w, err := NewWriter(to, first.GetHead())
	if err != nil {
		return err
	}
	for {
		part, err := next()
		if err != nil {
			return early(err)
		}
		if seal := part.GetSeal(); seal != nil {
			return errors.Join(w.Seal(seal.GetCheckpoint()), last(next))
		}
		if part.GetCommand() == nil {
			return w.chain.breaks("a part that is no command stands in its place")
		}
		if err := w.Command(part.GetCommand()); err != nil {
			return err
		}
	}
}

// early is why parts ended before the seal.
func early(err error) error {
	if errors.Is(err, io.EOF) {
		return io.ErrUnexpectedEOF
	}
	return err
}

// last makes sure that nothing comes behind the seal.
func last(next func() (*pb.RecordPart, error)) error {
	_, err := next()
	switch {
	case errors.Is(err, io.EOF):
		return nil
	case err == nil:
		return damaged("behind its seal", "there is one more part")
	}
	return err
}
