package rpc_test

import (
	"bytes"
	"errors"
	"image"
	"image/jpeg"
	"testing"

	"github.com/prometheus/client_golang/prometheus"

	"bayround/internal/fault"
	"bayround/internal/photo"
	"bayround/internal/rpc"
	pb "bayround/proto/bayround/v1"
)

// picture is a JPEG of a given size; what stands behind its end belongs to it.
func picture(t testing.TB, bytesLong int) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 16, 16)), nil); err != nil {
		t.Fatal(err)
	}
	return append(b.Bytes(), make([]byte, bytesLong-b.Len())...)
}

// servedPhotos is a station that keeps photos in a folder.
func servedPhotos(t testing.TB, o photo.Options, registry prometheus.Registerer) pb.PhotoServiceClient {
	t.Helper()
	store, err := photo.Open(o)
	if err != nil {
		t.Fatal(err)
	}
	_, conn := served(t, rpc.Options{Photos: store, Metrics: registry})
	return pb.NewPhotoServiceClient(conn)
}

func TestPhotos_TheLargestComesAndGoesWhole(t *testing.T) {
	registry := prometheus.NewRegistry()
	photos := servedPhotos(t, photo.Options{Dir: t.TempDir()}, registry)
	content := picture(t, photo.MaxBytes)
	name := photo.Sum(content)
	for _, knownBefore := range []bool{false, true} {
		got, err := photos.PutPhoto(t.Context(), &pb.PutPhotoRequest{Sha256: name, Content: content})
		if err != nil || got.GetKnownBefore() != knownBefore {
			t.Fatalf("PutPhoto of %d KiB = %v, %v, want known_before %v", len(content)>>10, got, err, knownBefore)
		}
	}
	got, err := photos.GetPhoto(t.Context(), &pb.GetPhotoRequest{Sha256: name})
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got.GetContent(), content) || got.GetMediaType() != "image/jpeg" {
		t.Errorf("GetPhoto = %d bytes of %s, want the %d of the JPEG that was put", len(got.GetContent()), got.GetMediaType(), len(content))
	}
	counted := gathered(t, registry)
	for series, want := range map[string]float64{
		`bayround_calls_total{code="OK",method="PhotoService/PutPhoto"}`: 2,
		`bayround_calls_total{code="OK",method="PhotoService/GetPhoto"}`: 1,
	} {
		if counted[series] != want {
			t.Errorf("%s = %v, want %v", series, counted[series], want)
		}
	}
}

func TestPhotos_RefuseWhatCannotBeKept(t *testing.T) {
	small := picture(t, 1000)
	const room = 4000
	photos := servedPhotos(t, photo.Options{Dir: t.TempDir(), Room: room}, nil)
	put := func(content []byte) *pb.PutPhotoRequest {
		return &pb.PutPhotoRequest{Sha256: photo.Sum(content), Content: content}
	}
	for _, tc := range []struct {
		what   string
		req    *pb.PutPhotoRequest
		kind   fault.Kind
		reason string
	}{
		{"another photo's name", &pb.PutPhotoRequest{Sha256: photo.Sum([]byte("another")), Content: small}, fault.Invalid, "PHOTO_NOT_AS_NAMED"},
		{"a name in capitals", &pb.PutPhotoRequest{Sha256: "AB", Content: small}, fault.Invalid, "FIELDS_BREAK_RULES"},
		{"one byte too many", put(picture(t, photo.MaxBytes+1)), fault.Invalid, "FIELDS_BREAK_RULES"},
		{"no picture", put([]byte("%PDF-1.7")), fault.Invalid, "PHOTO_NOT_READABLE"},
		{"no room for it", put(picture(t, room+1)), fault.Exhausted, "PHOTOS_FULL"},
	} {
		_, err := photos.PutPhoto(t.Context(), tc.req)
		requireFault(t, tc.what, err, tc.kind, tc.reason)
		_, err = photos.GetPhoto(t.Context(), &pb.GetPhotoRequest{Sha256: photo.Sum(tc.req.GetContent())})
		requireFault(t, tc.what+": what was refused", err, fault.NotFound, "PHOTO_UNKNOWN")
	}
}

func TestPhotos_AServerWithoutAFolderSaysSo(t *testing.T) {
	_, conn := served(t, rpc.Options{})
	photos := pb.NewPhotoServiceClient(conn)
	content := picture(t, 1000)
	_, err := photos.PutPhoto(t.Context(), &pb.PutPhotoRequest{Sha256: photo.Sum(content), Content: content})
	requireFault(t, "PutPhoto", err, fault.Precondition, "PHOTOS_NOT_KEPT")
	_, err = photos.GetPhoto(t.Context(), &pb.GetPhotoRequest{Sha256: photo.Sum(content)})
	requireFault(t, "GetPhoto", err, fault.Precondition, "PHOTOS_NOT_KEPT")
}

func requireFault(t *testing.T, what string, err error, kind fault.Kind, reason string) {
	t.Helper()
	var f *fault.Fault
	if !errors.As(err, &f) || f.Kind != kind || f.Reason != reason {
		t.Errorf("%s = %v, want %v %s", what, err, kind, reason)
	}
}
