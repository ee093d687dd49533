package round

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/note"

	"bayround/internal/fault"
	"bayround/internal/merkle"
	pb "bayround/proto/bayround/v1"
)

// recordWitness keeps what the tablet saw of the station's record and holds the station
// to it: at each new contact, and when everything was sent, the station proves that
// its record only grew. The tablet keeps a copy of the record, for a station that has
// lost a piece of it. One goroutine attests; the rest only asks what must be told.
type recordWitness struct {
	dir     string
	device  string
	log     *slog.Logger
	clock   func() time.Time
	journal pb.JournalServiceClient
	ring    func()                // tells that something may be sent now
	again   func(context.Context) // has everything sent again
	copy    *recordCopy           // nil until it was read; owned by the goroutine that attests

	watching int   // owned likewise: the watch that runs
	watch    int   // owned likewise: the watch in which the station was attested last
	through  int64 // owned likewise: the newest event that was attested then
	offered  sent  // owned likewise: what was offered to a station that is behind

	mu     sync.Mutex
	told   sighting  // guarded by mu: the file as it was read or written last
	read   time.Time // guarded by mu: when the notice was given that somebody has read
	good   int       // guarded by mu: the watch in which the station has proven its record
	copied uint64    // guarded by mu: the copy holds the record up to this event, proven and on disk
}

func newWitness(c Config, u *Uplink) (*recordWitness, error) {
	w := &recordWitness{dir: c.Dir, device: c.Device, log: u.log, clock: u.clock, journal: u.journal, ring: u.changed.ring, again: u.sendAgain}
	s, err := readSighting(c.Dir)
	w.told = s
	return w, errors.Join(err, refuseNewerCopy(c.Dir))
}

// contact holds the station to what was seen of it, and takes over what is new. An
// error means that it is to be tried again.
func (w *recordWitness) contact(ctx context.Context) error {
	s, err := readSighting(w.dir) // anew: a person may have taken it away
	if err != nil {
		return err
	}
	if w.copy == nil {
		if w.copy, err = openCopy(w.dir, w.log); err != nil {
			return err
		}
	}
	now, err := w.ask(ctx)
	if err != nil {
		return err
	}
	if s.VerifierKey == "" && now.GetCheckpoint() != "" {
		s, err = w.pin(ctx, now)
	} else {
		s, err = w.hold(ctx, s, now)
	}
	if err != nil || s.Alarm != nil {
		return err
	}
	w.clear()
	if s.VerifierKey == "" {
		return nil
	}
	if s.Checkpoint, err = w.copy.fetch(ctx, w.journal, s); err != nil {
		return err
	}
	if s, err = w.lossTold(s); err != nil {
		return err
	}
	if err := w.keep(s); err != nil { // the copy leads from one checkpoint to the other
		return err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.copied = w.copy.size()
	return nil
}

// ask asks the station who it is and how far it has come.
func (w *recordWitness) ask(ctx context.Context) (*pb.GetCheckpointResponse, error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	now, err := w.journal.GetCheckpoint(ctx, &pb.GetCheckpointRequest{})
	if fault.Is(err, fault.Precondition) {
		return &pb.GetCheckpointResponse{}, nil // it is empty
	}
	return now, err
}

// pin takes a station for the one to hold to: the first that is met.
func (w *recordWitness) pin(ctx context.Context, now *pb.GetCheckpointResponse) (sighting, error) {
	s := sighting{Version: sightingVersion, JournalID: now.GetJournalId(), VerifierKey: now.GetVerifierKey(), Checkpoint: now.GetCheckpoint()}
	if _, err := s.open(s.Checkpoint); err != nil {
		return sighting{}, fmt.Errorf("the station does not sign with its own key: %w", err)
	}
	w.log.Info("this tablet holds the station to its record from now on", "journal", s.JournalID, "key", s.VerifierKey)
	w.again(ctx)
	err := w.keep(s)
	s.onDisk = true
	return s, err
}

// hold demands the proof that the record only grew since it was seen last.
func (w *recordWitness) hold(ctx context.Context, s sighting, now *pb.GetCheckpointResponse) (sighting, error) {
	if s.VerifierKey == "" {
		return s, w.keep(s)
	}
	if now.GetCheckpoint() != "" && (now.GetVerifierKey() != s.VerifierKey || now.GetJournalId() != s.JournalID) {
		return w.alarm(s, alarmOtherStation, fmt.Errorf("journal %s with key %s", now.GetJournalId(), now.GetVerifierKey()))
	}
	calling, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	proof, err := w.journal.ProveConsistency(calling, &pb.ProveConsistencyRequest{KnownCheckpoint: s.Checkpoint, Device: w.device})
	var f *fault.Fault
	switch {
	case err == nil:
		return w.judge(ctx, s, proof)
	case errors.As(err, &f) && f.Reason == reasonBehind:
		offering := w.offer(ctx, s, now)
		if errors.As(offering, &f) && f.Reason == reasonDiffers {
			return w.alarm(s, alarmFork, offering)
		}
		return s, errors.Join(err, offering)
	case errors.As(err, &f) && (f.Reason == "RECORD_FORKED" || f.Reason == "CHECKPOINT_FOREIGN"):
		return w.alarm(s, alarmFork, err)
	}
	return s, err
}

// judge looks at the proof itself: the station's word for it is not enough.
func (w *recordWitness) judge(ctx context.Context, s sighting, proof *pb.ProveConsistencyResponse) (sighting, error) {
	older, err := s.open(s.Checkpoint)
	if err != nil {
		return s, err
	}
	newer, err := s.open(proof.GetCheckpoint())
	if err != nil {
		return w.alarm(s, alarmFork, err)
	}
	if kept := uint64(proof.GetProvenEvents()); kept != older.Size {
		return w.lost(ctx, s, proof, newer)
	}
	path, err := merkle.Hashes(proof.GetConsistencyPath())
	if err == nil {
		err = merkle.Grown(older, newer, path)
	}
	if err != nil {
		return w.alarm(s, alarmFork, err)
	}
	s.Checkpoint = proof.GetCheckpoint()
	return s, w.keep(s)
}

// lost takes a loss over that a person has accepted at the station: what is left
// must be what this tablet has seen, too. What is not left is put aside.
func (w *recordWitness) lost(ctx context.Context, s sighting, proof *pb.ProveConsistencyResponse, newer merkle.Checkpoint) (sighting, error) {
	kept := uint64(proof.GetProvenEvents())
	signed, err := s.open(proof.GetLoss().GetKnownCheckpoint())
	if err != nil || proof.GetLoss().GetKeptEvents() != proof.GetProvenEvents() || kept >= signed.Size || kept > newer.Size {
		return w.alarm(s, alarmFork, errors.Join(errors.New("the station speaks of a loss that it does not prove"), err))
	}
	why, err := w.copy.leftOver(kept, newer, proof.GetConsistencyPath())
	if err != nil {
		return s, err
	}
	if why != nil {
		return w.alarm(s, alarmFork, why)
	}
	aside, err := w.copy.lose(kept, w.clock())
	if err != nil {
		return s, err
	}
	w.log.Warn("a person has accepted that the station's record lost its newest events", "kept", kept, "reason", proof.GetLoss().GetReason(), "aside", aside)
	w.again(ctx)
	s.Checkpoint = proof.GetCheckpoint()
	s.Notice, s.LossFrom = &announced{Message: lossWords(proof.GetLoss(), signed.Size), At: w.clock()}, kept+1
	return s, w.keep(s)
}

// lossTold makes sure, once the copy holds what came after a loss, that the record
// itself tells of it: a person has accepted it, not just the station.
func (w *recordWitness) lossTold(s sighting) (sighting, error) {
	if s.LossFrom == 0 {
		return s, nil
	}
	told, err := w.copy.tellsOfLoss(s.LossFrom)
	if err != nil {
		return s, err
	}
	s.LossFrom = 0
	if !told {
		return w.alarm(s, alarmFork, errors.New("the record does not tell of the loss that the station speaks of"))
	}
	return s, nil
}

// alarm says that the station is not to be trusted, until a person has decided.
func (w *recordWitness) alarm(s sighting, message string, cause error) (sighting, error) {
	if s.Alarm != nil && s.Alarm.Message == message {
		return s, nil
	}
	w.log.Error("ALARM: "+message, "cause", cause)
	s.Alarm = &announced{Message: message, At: w.clock()}
	return s, w.keep(s)
}

// keep puts what was seen on disk.
func (w *recordWitness) keep(s sighting) error {
	w.mu.Lock()
	if s.Notice != nil && s.Notice.At.Equal(w.read) {
		s.Notice = nil
	}
	w.mu.Unlock()
	if s.VerifierKey != "" {
		if err := s.write(w.dir); err != nil {
			return err
		}
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.told = s
	return nil
}

// clear lets what was recorded be sent to the station that is heard now.
func (w *recordWitness) clear() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.good != w.watching {
		w.good = w.watching
		defer w.ring()
	}
}

// cleared tells whether things may be sent and taken over in a watch. To a station
// whose record is not the one that was seen nothing is sent: it would count as
// delivered. From one nothing is taken over: what it does not know would be dropped.
func (w *recordWitness) cleared(watch int) bool {
	if w == nil {
		return true
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	return watch != 0 && w.good == watch && w.told.Alarm == nil
}

// say tells what the pages must show: an alarm, and a loss that was accepted.
func (w *recordWitness) say() (alarm, notice *announced) {
	if w == nil {
		return nil, nil
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.told.Alarm, w.told.Notice
}

// dismiss forgets the notice of a loss, which was read; on disk at the next contact.
func (w *recordWitness) dismiss() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.told.Notice != nil {
		w.read, w.told.Notice = w.told.Notice.At, nil
	}
}

// open reads a checkpoint that must be of the station that was pinned.
func (s sighting) open(checkpoint string) (merkle.Checkpoint, error) {
	verifier, err := note.NewVerifier(s.VerifierKey)
	if err != nil {
		return merkle.Checkpoint{}, fmt.Errorf("the station's key cannot be read: %w", err)
	}
	return merkle.OpenCheckpoint([]byte(checkpoint), verifier)
}
