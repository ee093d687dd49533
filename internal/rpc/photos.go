package rpc

import (
	"context"

	"bayround/internal/fault"
	"bayround/internal/photo"
	pb "bayround/proto/bayround/v1"
)

// photos answers PhotoService.
type photos struct {
	// No defaults: an rpc without a handler fails the build.
	pb.UnsafePhotoServiceServer
	store *photo.Store // nil when this server keeps none
}

// errNoPhotos is the answer of a server that was given no place for photos. It is
// no refusal for good: the same server started with one takes them.
func errNoPhotos() error {
	return fault.New(fault.Precondition, "PHOTOS_NOT_KEPT",
		"this station keeps no photos; start it with a folder for them. Results are taken all the same")
}

// PutPhoto keeps a photo.
func (p *photos) PutPhoto(_ context.Context, req *pb.PutPhotoRequest) (*pb.PutPhotoResponse, error) {
	if p.store == nil {
		return nil, errNoPhotos()
	}
	if is := photo.Sum(req.GetContent()); is != req.GetSha256() {
		const why = "the content is not what its name says: its SHA-256 is %s; send the photo again"
		return nil, fault.New(fault.Invalid, "PHOTO_NOT_AS_NAMED", why, is).At("sha256", "the SHA-256 of the content is %s", is)
	}
	before := p.store.Has(req.GetSha256())
	if _, err := p.store.Put(req.GetContent()); err != nil {
		return nil, err
	}
	return &pb.PutPhotoResponse{KnownBefore: before}, nil
}

// GetPhoto returns a photo.
func (p *photos) GetPhoto(_ context.Context, req *pb.GetPhotoRequest) (*pb.GetPhotoResponse, error) {
	if p.store == nil {
		return nil, errNoPhotos()
	}
	content, mediaType, err := p.store.Get(req.GetSha256())
	if err != nil {
		return nil, err
	}
	return &pb.GetPhotoResponse{Content: content, MediaType: mediaType}, nil
}
