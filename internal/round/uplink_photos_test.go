package round_test

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"google.golang.org/grpc"

	"bayround/internal/fault"
	"bayround/internal/photo"
	"bayround/internal/round"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// shot is a photo that no other number gives.
func shot(t testing.TB, n uint8) []byte {
	t.Helper()
	p := image.NewGray(image.Rect(0, 0, 4, 4))
	p.SetGray(1, 1, color.Gray{Y: n})
	var b bytes.Buffer
	must(t, png.Encode(&b, p))
	return b.Bytes()
}

// photograph records a result with photos, as the desk does: they are on the
// tablet's disk before it.
func (b *tablet) photograph(roundName string, shots ...[]byte) (names []string) {
	b.T.Helper()
	store := openPhotos(b.T, b.photos)
	for _, content := range shots {
		name, err := store.Put(content)
		b.must(err)
		names = append(names, name)
	}
	seen := stationtest.Seen(windscreen, "03")
	seen.Photos = names
	b.answer(roundName, seen)
	return names
}

// unsent waits until so many photos wait.
func (b *tablet) unsent(n int) {
	b.T.Helper()
	b.await("the count of photos", func() bool { return b.up.Link().Photos == n })
}

// holds wants the station to give every photo as it was taken.
func (o *ofRecord) holds(shots ...[]byte) {
	o.T.Helper()
	photos := pb.NewPhotoServiceClient(o.served.Dial(o.T))
	for i, content := range shots {
		got, err := photos.GetPhoto(context.Background(), &pb.GetPhotoRequest{Sha256: photo.Sum(content)})
		if err != nil || !bytes.Equal(got.GetContent(), content) {
			o.T.Errorf("photo %d at the station: %d bytes, %v", i+1, len(got.GetContent()), err)
		}
	}
}

// told lists the photos of the results in the station's record.
func (o *ofRecord) told() map[string]bool {
	all := map[string]bool{}
	for _, c := range driven(o.T, o.Station) {
		r, _ := c.(*pb.RecordResultRequest)
		for _, name := range r.GetResult().GetPhotos() {
			all[name] = true
		}
	}
	return all
}

// passing lets a test do something around each photo on its way.
type passing struct {
	grpc.ClientConnInterface
	before, after func(name string)

	mu    sync.Mutex
	names []string // guarded by mu: of every try
}

func (p *passing) Invoke(ctx context.Context, method string, args, reply any, opts ...grpc.CallOption) error {
	put, ok := args.(*pb.PutPhotoRequest)
	if !ok {
		return p.ClientConnInterface.Invoke(ctx, method, args, reply, opts...)
	}
	p.mu.Lock()
	p.names = append(p.names, put.GetSha256())
	p.mu.Unlock()
	p.before(put.GetSha256())
	err := p.ClientConnInterface.Invoke(ctx, method, args, reply, opts...)
	p.after(put.GetSha256())
	return err
}

func (p *passing) tries(name string) (n int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, tried := range p.names {
		if tried == name {
			n++
		}
	}
	return n
}

// watchPhotos puts a passing into a tablet's way to the station.
func (b *tablet) watchPhotos(before, after func(name string)) *passing {
	b.T.Helper()
	b.stop()
	p := &passing{ClientConnInterface: b.conn, before: before, after: after}
	b.conn = p
	b.start()
	return p
}

func nothing(string) {}

func TestUplink_SendsPhotosAfterTheirResults(t *testing.T) {
	o := openOfRecord(t)
	o.wire.Cut()
	b := newTablet(t, o.wire, "tablet-1")
	p := b.watchPhotos(func(name string) {
		if !o.told()[name] {
			t.Errorf("photo %s was sent before its result", name)
		}
	}, nothing)
	name := b.begin(firstPump)
	shots := [][]byte{shot(t, 1), shot(t, 2), shot(t, 3)}
	b.photograph(name, shots[:2]...)
	b.answer(name, stationtest.Seen(windscreen, "sound"))
	b.photograph(name, shots[2])
	b.unsent(3)
	o.wire.Heal()
	b.unsent(0)
	o.holds(shots...)
	b.sent()
	sameRecord(t, b.Station, o.Station)
	b.photograph(name, shot(t, 4)) // and while it is live
	b.await("the photo to be tried", func() bool { return p.tries(photo.Sum(shot(t, 4))) > 0 })
	b.unsent(0)
	o.holds(shot(t, 4))
	b.restart()
	b.photograph(name, shot(t, 5))
	b.await("the photo to be tried", func() bool { return p.tries(photo.Sum(shot(t, 5))) > 0 })
	b.unsent(0)
	for _, n := range []uint8{4, 5} {
		if tries := p.tries(photo.Sum(shot(t, n))); tries != 1 {
			t.Errorf("photo %d was sent %d times over a line that held", n, tries)
		}
	}
}

func TestUplink_LosesNoPhotoWhereverItIsCut(t *testing.T) {
	for _, tc := range []struct {
		name  string
		after bool // the photo had arrived and only its answer was lost
		then  func(o *ofRecord, b *tablet)
	}{
		{"before it is sent", false, func(*ofRecord, *tablet) {}},
		{"before its answer", true, func(*ofRecord, *tablet) {}},
		{"before it is sent, and the tablet is started anew", false, func(_ *ofRecord, b *tablet) { b.restart() }},
		{"before its answer, and the tablet is started anew", true, func(_ *ofRecord, b *tablet) { b.restart() }},
		{"before it is sent, and the station is started anew", false, func(o *ofRecord, _ *tablet) { o.restart() }},
		{"and the tablet has lost its place", true, func(_ *ofRecord, b *tablet) {
			b.stop()
			b.must(os.Remove(filepath.Join(b.dir, round.PlaceName)))
			b.start()
		}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			o := openOfRecord(t)
			b := newTablet(t, o.wire, "tablet-1")
			cut, cutOnce := make(chan struct{}), sync.Once{}
			middle := photo.Sum(shot(t, 2))
			at := func(name string) {
				if name == middle {
					cutOnce.Do(func() { o.wire.Cut(); close(cut) })
				}
			}
			if tc.after {
				b.watchPhotos(nothing, at)
			} else {
				b.watchPhotos(at, nothing)
			}
			name := b.begin(firstPump)
			shots := [][]byte{shot(t, 1), shot(t, 2), shot(t, 3), shot(t, 4)}
			b.photograph(name, shots[:3]...)
			<-cut
			b.photograph(name, shots[3]) // while it is cut
			tc.then(o, b)
			o.wire.Heal()
			b.sent()
			b.unsent(0)
			o.holds(shots...)
			sameRecord(t, b.Station, o.Station)
		})
	}
}

func TestUplink_PhotosThatCannotBeKeptHoldUpNoResult(t *testing.T) {
	o := openOfRecord(t)
	folder, once := o.photos, sync.Once{}
	o.photos = "" // the station was started without a place for photos
	o.restart()
	b := newTablet(t, o.wire, "tablet-1")
	refusedOnce := make(chan struct{})
	b.watchPhotos(nothing, func(string) { once.Do(func() { close(refusedOnce) }) })
	name := b.begin(firstPump)
	waits := shot(t, 1)
	b.photograph(name, waits)
	<-refusedOnce
	b.answerAll(firstPump, name)
	b.sent()
	sameRecord(t, b.Station, o.Station)
	b.unsent(1)
	b.restart()
	b.unsent(1)
	if refused := b.up.Link().Refused; len(refused) > 0 {
		t.Errorf("what can still be kept was given up: %+v", refused)
	}
	o.photos = folder
	o.restart()
	b.unsent(0)
	o.holds(waits)
}

func TestUplink_APhotoThatIsLostIsToldAndHoldsUpNoOther(t *testing.T) {
	o := openOfRecord(t)
	o.wire.Cut()
	b := newTablet(t, o.wire, "tablet-1")
	name := b.begin(firstPump)
	lost, damaged, sound := shot(t, 1), shot(t, 2), shot(t, 3)
	names := b.photograph(name, lost, damaged, sound)
	b.must(os.Remove(filepath.Join(b.photos, names[0][:2], names[0])))
	b.must(os.WriteFile(filepath.Join(b.photos, names[1][:2], names[1]), sound, 0o600))
	b.unsent(3)
	o.wire.Heal()
	b.unsent(0)
	o.holds(sound)
	refused := b.up.Link().Refused
	if len(refused) != 2 || !strings.Contains(refused[0].What, "photo") || !strings.Contains(refused[1].Message, "Take the photo again") {
		t.Fatalf("the driver is told %+v, want of both photos", refused)
	}
	for _, r := range refused {
		b.up.Dismiss(r.ID)
	}
	if left := b.up.Link().Refused; len(left) > 0 {
		t.Errorf("after both were read: %+v", left)
	}
	b.sent()
	sameRecord(t, b.Station, o.Station)
}

func TestUplink_FillsANewStationWithPhotosToo(t *testing.T) {
	o := openOfRecord(t)
	b := newTablet(t, o.wire, "tablet-1")
	p := b.watchPhotos(nothing, nothing)
	name := b.begin(firstPump)
	shots := [][]byte{shot(t, 1), shot(t, 2)}
	b.photograph(name, shots...)
	b.await("the photos to be tried", func() bool { return p.tries(photo.Sum(shots[1])) > 0 })
	b.unsent(0)
	o.replace()
	b.await("the photos to be tried again", func() bool { return p.tries(photo.Sum(shots[1])) > 1 })
	b.unsent(0)
	o.holds(shots...)
}

// spoiling gives other bytes for a photo than were asked for.
type spoiling struct{ grpc.ClientConnInterface }

func (s spoiling) Invoke(ctx context.Context, method string, args, reply any, opts ...grpc.CallOption) error {
	err := s.ClientConnInterface.Invoke(ctx, method, args, reply, opts...)
	if got, ok := reply.(*pb.GetPhotoResponse); ok && err == nil {
		got.Content[len(got.GetContent())-1] ^= 1
	}
	return err
}

func refusedAs(err error, reason string) bool {
	var f *fault.Fault
	return errors.As(err, &f) && f.Reason == reason
}

// A photo of another tablet is shown from the station, while that is reached and only when
// it is the very one; a photo of this tablet always.
func TestPictures_OfAnotherTabletComeFromTheStation(t *testing.T) {
	o := openOfRecord(t)
	first, second := newTablet(t, o.wire, "tablet-1"), newTablet(t, o.wire, "tablet-2")
	name := first.begin(firstPump)
	o.wire.Cut()
	sum := first.photograph(name, shot(t, 1))[0]
	first.unsent(1)
	o.wire.Heal()
	first.unsent(0)
	o.holds(shot(t, 1))
	own := second.photograph(second.begin(secondPump), shot(t, 2))[0]
	second.await("the station", func() bool { return second.up.Link().Live })
	for of, want := range map[string][]byte{sum: shot(t, 1), own: shot(t, 2)} {
		if got, kind, err := second.up.Pictures().Get(of); err != nil || !bytes.Equal(got, want) || kind != "image/png" {
			t.Errorf("%s: %d bytes, %s, %v", of, len(got), kind, err)
		}
	}
	second.stop()
	second.conn = spoiling{second.conn}
	second.start()
	second.await("the station", func() bool { return second.up.Link().Live })
	if _, _, err := second.up.Pictures().Get(sum); !refusedAs(err, "PHOTO_SPOILT") {
		t.Errorf("other bytes than were asked for: %v", err)
	}
	o.wire.Cut()
	second.await("the line to be cut", func() bool { return !second.up.Link().Live })
	if _, _, err := second.up.Pictures().Get(sum); !refusedAs(err, "PHOTO_ELSEWHERE") {
		t.Errorf("without the station: %v", err)
	}
	if got, _, err := second.up.Pictures().Get(own); err != nil || !bytes.Equal(got, shot(t, 2)) {
		t.Errorf("its own without the station: %v", err)
	}
}
