package round

import (
	"context"
	"time"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// photoPatience is how long a photo may take on its way.
const photoPatience = time.Minute

// enclosure is a photo that belongs to a result and has not yet arrived.
type enclosure struct {
	sequence int64 // of the result's event in the twin's journal
	sha256   string
	of       *outgoing // the result
}

// encloseLocked notes the photos of a result.
func (o *outbox) encloseLocked(c *outgoing) {
	for _, sha256 := range c.result().GetResult().GetPhotos() {
		o.photos = append(o.photos, enclosure{c.sequence, sha256, c})
	}
}

// enclosed returns the next photo whose result has been settled, as soon as there is one.
func (o *outbox) enclosed(ctx context.Context) (next enclosure, era int, err error) {
	for {
		rung := o.news.rung()
		o.mu.Lock()
		era = o.era
		ready := len(o.photos) > 0 && o.photos[0].sequence <= o.place.Acknowledged
		if ready {
			next = o.photos[0]
		}
		o.mu.Unlock()
		if ready {
			return next, era, nil
		}
		select {
		case <-rung:
		case <-ctx.Done():
			return next, era, ctx.Err()
		}
	}
}

// arrived says that a photo needs to be sent no more.
func (o *outbox) arrived(era int, refused *refusal) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if era != o.era {
		return
	}
	o.photos = o.photos[1:]
	if refused != nil {
		o.refuseLocked(*refused)
	}
}

// photosThroughLocked is the event up to which every photo has arrived.
func (o *outbox) photosThroughLocked() int64 {
	if len(o.photos) > 0 {
		return min(o.photos[0].sequence-1, o.place.Acknowledged)
	}
	return o.place.Acknowledged
}

// sendPhotos sends the photos of what was sent, one at a time, for ever.
func (u *Uplink) sendPhotos(ctx context.Context) {
	if u.photos == nil {
		return
	}
	var pauses backoff
	for ctx.Err() == nil {
		next, era, err := u.outbox.enclosed(ctx)
		if err != nil {
			return
		}
		arrived := u.arrived.rung()
		if err := u.sendPhoto(ctx, next, era); err != nil {
			u.log.Debug("a photo cannot be sent now; it will be tried again", "photo", next.sha256, "cause", err)
			pauses.pause(ctx, arrived)
			continue
		}
		pauses.over()
		u.keep()
		u.changed.ring()
	}
}

// sendPhoto sends one photo. An error means that it is to be sent again.
func (u *Uplink) sendPhoto(ctx context.Context, e enclosure, era int) error {
	content, err := u.ownPhoto(e.sha256)
	if err == nil {
		calling, cancel := context.WithTimeout(ctx, photoPatience)
		defer cancel()
		_, err = u.pictures.PutPhoto(calling, &pb.PutPhotoRequest{Sha256: e.sha256, Content: content})
	}
	switch {
	case err == nil:
		u.outbox.arrived(era, nil)
		return nil
	case !fault.Is(err, fault.Invalid) && !fault.Is(err, fault.NotFound) && !fault.Is(err, fault.Lost):
		return err
	}
	what := u.words(ctx, e.of) + ": photo"
	u.log.Error("a photo cannot be sent", "photo", e.sha256, "what", what, "cause", err)
	r := refusalOf(e.of, what, err, u.clock())
	r.ID = e.of.id + "/" + e.sha256
	u.outbox.arrived(era, r)
	return nil
}

// ownPhoto is a photo from the tablet's disk. Nobody else has one that is not
// sound there, so the driver must be told.
func (u *Uplink) ownPhoto(sha256 string) ([]byte, error) {
	content, _, err := u.photos.Get(sha256)
	if fault.Is(err, fault.NotFound) || fault.Is(err, fault.Lost) {
		return nil, fault.New(fault.Lost, "PHOTO_GONE", "this tablet no longer has the photo whole; the answer is kept without it. Take the photo again if it is needed").Because(err)
	}
	return content, err
}
