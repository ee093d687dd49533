package round

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"

	"bayround/internal/fault"
	"bayround/internal/faultpoint"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// outbox is the twin's journal as something to be sent. It knows what was read
// and what was acknowledged; the commands themselves stay in the journal until
// they are wanted, so it is small however much waits.
type outbox struct {
	twin *station.Station
	dir  string
	news *bell // rung when there is more to send

	reading sync.Mutex // held while the journal is read on, so that it is read once
	saving  sync.Mutex // held while the file is written, so that the newest stays

	mu      sync.Mutex
	place   place            // guarded by mu
	scanned int64            // guarded by mu: the event up to which was read
	pending map[string]int   // guarded by mu: commands read and not acknowledged, by vehicle
	newest  map[string]int64 // guarded by mu: newest command read, by vehicle
	photos  []enclosure      // guarded by mu: not yet arrived, in the order of their results
	era     int              // guarded by mu: counts how often it began anew
}

// openOutbox takes up where the outbox in a directory had come to.
func openOutbox(ctx context.Context, c Config, log *slog.Logger, news *bell) (*outbox, error) {
	o := &outbox{twin: c.Twin, dir: c.Dir, news: news, pending: map[string]int{}, newest: map[string]int64{}}
	p, why, err := readPlace(c.Dir)
	if err != nil {
		return nil, err
	}
	if why != nil {
		log.Warn("how far the outbox had come cannot be read; everything is sent again", "cause", why)
	}
	fits, err := o.fits(ctx, p)
	if err != nil {
		return nil, err
	}
	if !fits {
		log.Warn("this tablet's journal is not the one that was sent from before; everything in it is sent")
		p.Acknowledged, p.Photos, p.Command = 0, 0, ""
	}
	o.place, o.scanned = p, min(p.Acknowledged, p.Photos)
	return o, nil
}

// journalID is the id of the twin's journal; empty while that is empty.
func (o *outbox) journalID(ctx context.Context) (string, error) {
	resp, err := o.twin.GetCheckpoint(ctx, &pb.GetCheckpointRequest{})
	if err != nil && !fault.Is(err, fault.Precondition) {
		return "", fmt.Errorf("asking the twin for its journal: %w", err)
	}
	return resp.GetJournalId(), nil
}

// fits tells whether a place is one in the twin's journal.
func (o *outbox) fits(ctx context.Context, p place) (bool, error) {
	if p.Acknowledged == 0 {
		return true, nil
	}
	if id, err := o.journalID(ctx); err != nil || id != p.Journal {
		return false, err
	}
	found := false
	err := o.twin.Events(ctx, p.Acknowledged, func(ev *pb.JournalEvent) error {
		found = ev.GetSequence() == p.Acknowledged && ev.GetCommandId() == p.Command
		return errEnough
	})
	if err != nil && !errors.Is(err, errEnough) {
		return false, fmt.Errorf("reading the twin's journal: %w", err)
	}
	return found, nil
}

// errEnough ends a walk through the journal.
var errEnough = errors.New("enough was read")

// catchUp reads the twin's journal to its end and counts what is to be sent.
func (o *outbox) catchUp(ctx context.Context) error {
	o.reading.Lock()
	defer o.reading.Unlock()
	o.mu.Lock()
	from := o.scanned + 1
	o.mu.Unlock()
	found := false
	err := o.twin.Events(ctx, from, func(ev *pb.JournalEvent) error {
		o.count(ev)
		found = true
		return nil
	})
	if found {
		o.news.ring()
	}
	if err != nil {
		return fmt.Errorf("reading the twin's journal: %w", err)
	}
	return nil
}

func (o *outbox) count(ev *pb.JournalEvent) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.scanned = ev.GetSequence()
	c := outgoingOf(ev)
	if c == nil {
		return
	}
	o.newest[c.vehicle] = c.sequence
	if c.sequence > o.place.Acknowledged {
		o.pending[c.vehicle]++
	}
	if c.sequence > o.place.Photos {
		o.encloseLocked(c)
	}
}

// follow counts what is recorded on the tablet until ctx ends; it returns why it
// could not.
func (o *outbox) follow(ctx context.Context) error {
	for {
		if err := o.catchUp(ctx); err != nil {
			return err
		}
		o.mu.Lock()
		scanned := o.scanned
		o.mu.Unlock()
		if err := o.twin.Grown(ctx, scanned); err != nil {
			return err
		}
	}
}

// portionCommands is how many commands are taken out of the journal at once.
const portionCommands = 64

// portion is some commands that stand together in the journal.
type portion struct {
	era      int
	commands []*outgoing
	through  int64  // the event up to which was read for it
	command  string // id of the command of that event
}

// take returns the next commands, of those that were counted, as soon as there
// are some.
func (o *outbox) take(ctx context.Context) (portion, error) {
	for {
		rung := o.news.rung()
		o.mu.Lock()
		p, from, to := portion{era: o.era}, o.place.Acknowledged+1, o.scanned
		o.mu.Unlock()
		if from > to {
			select {
			case <-rung:
				continue
			case <-ctx.Done():
				return p, ctx.Err()
			}
		}
		if err := o.read(ctx, &p, from, to); err != nil {
			return p, err
		}
		if len(p.commands) > 0 {
			return p, nil
		}
		o.pass(p) // nothing of a driver's in it
		o.news.ring()
	}
}

func (o *outbox) read(ctx context.Context, p *portion, from, to int64) error {
	err := o.twin.Events(ctx, from, func(ev *pb.JournalEvent) error {
		if ev.GetSequence() > to || len(p.commands) == portionCommands {
			return errEnough
		}
		if c := outgoingOf(ev); c != nil {
			p.commands = append(p.commands, c)
		}
		p.through, p.command = ev.GetSequence(), ev.GetCommandId()
		return nil
	})
	if err != nil && !errors.Is(err, errEnough) {
		return fmt.Errorf("reading the twin's journal: %w", err)
	}
	return nil
}

// pass moves on behind a portion of which every command was settled.
func (o *outbox) pass(p portion) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if p.era == o.era && p.through > o.place.Acknowledged {
		o.place.Acknowledged, o.place.Command = p.through, p.command
	}
}

// settle says that a command needs to be sent no more: it was acknowledged with
// an event of the station, 0 when it was not told which, or refused for good.
func (o *outbox) settle(era int, c *outgoing, stationSequence int64, refused *refusal) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if era != o.era {
		return
	}
	o.place.Acknowledged, o.place.Command = c.sequence, c.id
	o.place.StationSequence = max(o.place.StationSequence, stationSequence)
	if o.pending[c.vehicle]--; o.pending[c.vehicle] <= 0 {
		delete(o.pending, c.vehicle)
	}
	if refused != nil {
		o.refuseLocked(*refused)
	}
}

// refuseLocked keeps a refusal. A round that could not be opened brings all its
// results down with it: they are counted at its opening.
func (o *outbox) refuseLocked(r refusal) {
	for i, known := range o.place.Refused {
		switch {
		case known.ID == r.ID:
			return
		case known.ID == known.Round && known.Round == r.Round:
			o.place.Refused = slices.Clone(o.place.Refused)
			o.place.Refused[i].More++
			return
		}
	}
	o.place.Refused = append(slices.Clip(o.place.Refused), r)
}

// dismiss forgets a refusal that was read.
func (o *outbox) dismiss(id string) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	before := len(o.place.Refused)
	o.place.Refused = slices.DeleteFunc(slices.Clone(o.place.Refused), func(r refusal) bool { return r.ID == id })
	return len(o.place.Refused) < before
}

// beginAnew sends everything again: the station's journal is another one, or
// has lost its end. What was refused before is judged again.
func (o *outbox) beginAnew() {
	o.reading.Lock()
	defer o.reading.Unlock()
	o.mu.Lock()
	defer o.mu.Unlock()
	o.era++
	o.place.Acknowledged, o.place.Photos, o.place.Command, o.place.StationSequence, o.place.Refused = 0, 0, "", 0, nil
	o.scanned, o.photos = 0, nil
	clear(o.pending)
	clear(o.newest)
}

// save puts on disk how far it has come.
func (o *outbox) save() error {
	o.saving.Lock()
	defer o.saving.Unlock()
	id, err := o.journalID(context.Background()) // reads memory; at first the journal was empty and had none
	if err != nil {
		return err
	}
	o.mu.Lock()
	o.place.Journal, o.place.Photos = id, o.photosThroughLocked()
	p := o.place
	o.mu.Unlock()
	if err := faultpoint.Hit(faultpoint.UplinkBeforeReceipt); err != nil {
		return err
	}
	return p.write(o.dir)
}

// about says what waits for a vehicle, and the newest command that was read.
func (o *outbox) about(vehicle string) (waiting int, newest int64) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.pending[vehicle], o.newest[vehicle]
}

// counts returns how many commands and photos wait, and what was refused.
func (o *outbox) counts() (waiting, photos int, refused []Refused) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for n := range maps.Values(o.pending) {
		waiting += n
	}
	for _, r := range o.place.Refused {
		refused = append(refused, r.shown())
	}
	return waiting, len(o.photos), refused
}

// station returns what is known of the station's journal.
func (o *outbox) station() (journal string, sequence int64) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.place.StationJournal, o.place.StationSequence
}

func (o *outbox) setStationJournal(id string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.place.StationJournal = id
}

// refusalOf is what is kept of a command that was refused.
func refusalOf(c *outgoing, what string, err error, at time.Time) *refusal {
	r := &refusal{ID: c.id, What: what, Message: err.Error(), At: at, Round: c.round}
	var f *fault.Fault
	if errors.As(err, &f) {
		r.Message = f.Message
	}
	return r
}
