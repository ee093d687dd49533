package main

import (
	"bytes"
	"image"
	"image/png"
	"testing"

	"bayround/internal/photo"
	"bayround/internal/rpc"
	pb "bayround/proto/bayround/v1"
)

func TestServe_KeepsPhotosBesideTheRecord(t *testing.T) {
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 2, 2))); err != nil {
		t.Fatal(err)
	}
	data, name := t.TempDir(), photo.Sum(b.Bytes())
	s := serving(t, data)
	if _, err := photosOf(t, s.address).PutPhoto(t.Context(), &pb.PutPhotoRequest{Sha256: name, Content: b.Bytes()}); err != nil {
		t.Fatal(err)
	}
	s.stop()
	requireIn(t, must(t, "verify", "--data", data), "sound: ", " events")
	requireIn(t, must(t, "rebuild", "--data", data), "made anew from ")
	s = serving(t, data)
	got, err := photosOf(t, s.address).GetPhoto(t.Context(), &pb.GetPhotoRequest{Sha256: name})
	if err != nil || !bytes.Equal(got.GetContent(), b.Bytes()) {
		t.Errorf("after a restart the photo is %v, %v", got, err)
	}
}

func photosOf(t *testing.T, address string) pb.PhotoServiceClient {
	t.Helper()
	conn, err := rpc.Dial(address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return pb.NewPhotoServiceClient(conn)
}
