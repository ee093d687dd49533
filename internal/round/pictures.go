package round

import (
	"context"
	"time"

	"bayround/internal/fault"
	"bayround/internal/photo"
	pb "bayround/proto/bayround/v1"
)

// pictureWait is how long a page waits for a photo that only the station has.
const pictureWait = 10 * time.Second

// Pictures gives photos to be shown: those on this tablet, and those of other tablets from
// the station, which keeps them all.
type Pictures struct{ uplink *Uplink }

// Pictures gives the photos that can be shown here.
func (u *Uplink) Pictures() Pictures { return Pictures{u} }

// Get returns a photo and its media type. One from the station is taken only when it is
// what its name says.
func (p Pictures) Get(sha256 string) (content []byte, mediaType string, err error) {
	content, mediaType, err = p.uplink.photos.Get(sha256)
	if !fault.Is(err, fault.NotFound) && !fault.Is(err, fault.Lost) {
		return content, mediaType, err
	}
	if !p.uplink.Link().Live {
		return nil, "", fault.New(fault.NotFound, "PHOTO_ELSEWHERE", "this photo was taken with another tablet, and the station is not reached").Because(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), pictureWait)
	defer cancel()
	got, err := p.uplink.pictures.GetPhoto(ctx, &pb.GetPhotoRequest{Sha256: sha256})
	if err != nil {
		return nil, "", err
	}
	if photo.Sum(got.GetContent()) != sha256 {
		return nil, "", fault.New(fault.Lost, "PHOTO_SPOILT", "the station's photo is not the one that was taken")
	}
	mediaType, err = photo.MediaType(got.GetContent())
	return got.GetContent(), mediaType, err
}
