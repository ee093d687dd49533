package station

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"

	"google.golang.org/protobuf/encoding/protodelim"

	"bayround/internal/journal"
	pb "bayround/proto/bayround/v1"
)

// Rows made anew from a pruned record say of a vehicle what the rest of it says: the
// verdict may have begun when the first of what is left was seen, and a series may
// have lost what older points had told it. So the station writes down before a
// pruning what every verdict rests on, and takes over of itself afterwards what differs,
// as a twin takes over from the station of record. From then on the record itself says it.

// owedOf is everything that the verdicts rest on now, for after a pruning.
func (s *Station) owedOf(ctx context.Context) ([]byte, error) {
	var owed bytes.Buffer
	for _, name := range s.current.Load().names {
		resp, err := s.GetStanding(ctx, &pb.GetStandingRequest{Vehicle: name})
		if err != nil {
			return nil, err
		}
		if _, err := protodelim.MarshalTo(&owed, resp.GetStanding()); err != nil {
			return nil, fmt.Errorf("encode what is known of %s: %w", name, err)
		}
	}
	return owed.Bytes(), nil
}

// settle does what is owed after a pruning. It may be broken off and done again.
func (s *Station) settle(ctx context.Context) error {
	owed, pruning, err := s.journal.Owed()
	if err != nil || len(owed) == 0 {
		return err
	}
	for rest := bytes.NewReader(owed); ; {
		known := &pb.Standing{}
		err := protodelim.UnmarshalOptions{MaxSize: -1}.UnmarshalFrom(rest, known)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return unreadable("what is owed after a pruning", err)
		}
		if _, err := s.AdoptStanding(ctx, fmt.Sprintf("prune/%d/%s", pruning, known.GetVehicle()), known); err != nil {
			return fmt.Errorf("take up again what was known of %s: %w", known.GetVehicle(), err)
		}
	}
	_, err = s.journal.Append(ctx, journal.Command{ID: fmt.Sprintf("prune/%d", pruning)}, func(uint64) (journal.Entry, error) {
		return journal.Entry{Settled: true}, nil
	})
	return err
}
