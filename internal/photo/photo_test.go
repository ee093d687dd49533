package photo_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"bayround/internal/durable"
	"bayround/internal/fault"
	"bayround/internal/photo"
)

// cornered is a picture of 48 by 32 pixels, white with one red corner: the one
// where the stored first row and first column meet.
func cornered() *image.RGBA {
	p := image.NewRGBA(image.Rect(0, 0, 48, 32))
	for y := range 32 {
		for x := range 48 {
			c := color.RGBA{255, 255, 255, 255}
			if x < 16 && y < 16 {
				c = color.RGBA{255, 0, 0, 255}
			}
			p.SetRGBA(x, y, c)
		}
	}
	return p
}

func jpegOf(t testing.TB, p image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, p, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// lying adds EXIF data that says how a JPEG lies.
func lying(stored []byte, order binary.AppendByteOrder, mark string, orientation uint16) []byte {
	tiff := []byte(mark)
	tiff = order.AppendUint32(tiff, 8)
	tiff = order.AppendUint16(tiff, 2)
	for _, e := range [][2]uint16{{0x0111, 7}, {0x0112, orientation}} { // another entry first
		tiff = order.AppendUint16(tiff, e[0])
		tiff = order.AppendUint16(tiff, 3)
		tiff = order.AppendUint32(tiff, 1)
		tiff = order.AppendUint16(tiff, e[1])
		tiff = order.AppendUint16(tiff, 0)
	}
	body := append([]byte("Exif\x00\x00"), tiff...)
	segment := binary.BigEndian.AppendUint16([]byte{0xFF, 0xE1}, uint16(len(body)+2))
	return bytes.Join([][]byte{stored[:2], segment, body, stored[2:]}, nil)
}

func TestShrink_SetsAPictureUpright(t *testing.T) {
	stored := jpegOf(t, cornered())
	// EXIF 2.32, 4.6.4 tag 0x0112: where row 0 and column 0 of the stored picture
	// are seen, from which follows the corner that is red when it is upright.
	for orientation, want := range map[uint16]string{
		0: "top left", // reserved: as it lies
		1: "top left", 2: "top right", 3: "bottom right", 4: "bottom left",
		5: "top left", 6: "top right", 7: "bottom right", 8: "bottom left",
		9: "top left", // reserved
	} {
		for mark, order := range map[string]binary.AppendByteOrder{"II*\x00": binary.LittleEndian, "MM\x00*": binary.BigEndian} {
			small, err := photo.Shrink(lying(stored, order, mark, orientation))
			if err != nil {
				t.Fatal(err)
			}
			got, err := jpeg.Decode(bytes.NewReader(small))
			if err != nil {
				t.Fatal(err)
			}
			tall := got.Bounds().Dy() > got.Bounds().Dx()
			if corner := redCorner(got); corner != want || tall != (orientation >= 5 && orientation <= 8) {
				t.Errorf("orientation %d: red is %s of %v, want %s", orientation, corner, got.Bounds(), want)
			}
			if bytes.Contains(small, []byte("Exif")) {
				t.Errorf("orientation %d: what the camera said of itself is kept", orientation)
			}
		}
	}
}

func redCorner(p image.Image) string {
	b := p.Bounds()
	for name, at := range map[string]image.Point{
		"top left": {4, 4}, "top right": {b.Dx() - 5, 4},
		"bottom left": {4, b.Dy() - 5}, "bottom right": {b.Dx() - 5, b.Dy() - 5},
	} {
		if _, g, _, _ := p.At(at.X, at.Y).RGBA(); g>>8 < 128 {
			return name
		}
	}
	return "none"
}

func TestShrink_MakesLargeOnesFit(t *testing.T) {
	noise := image.NewRGBA(image.Rect(0, 0, 2400, 1801))
	random := rand.New(rand.NewPCG(1, 2)) //nolint:gosec // a test's dice
	for i := range noise.Pix {
		noise.Pix[i] = byte(random.Uint32()) //nolint:gosec // its low byte is meant
	}
	small, err := photo.Shrink(jpegOf(t, noise))
	if err != nil {
		t.Fatal(err)
	}
	if config, err := jpeg.DecodeConfig(bytes.NewReader(small)); err != nil || config.Width != 1600 || config.Height != 1200 || len(small) > photo.MaxBytes {
		t.Errorf("%+v of %d bytes: %v", config, len(small), err)
	}
}

func TestShrink_RefusesWhatIsNoPicture(t *testing.T) {
	whole := jpegOf(t, cornered())
	for name, content := range map[string][]byte{
		"nothing": nil, "words": []byte("no picture"), "the beginning of one": whole[:len(whole)/2], "more than is taken": append(whole, make([]byte, 20<<20)...),
	} {
		if _, err := photo.Shrink(content); !fault.Is(err, fault.Invalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func open(t testing.TB, o photo.Options) *photo.Store {
	t.Helper()
	s, err := photo.Open(o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestStore_KeepsAPhotoUnderItsContent(t *testing.T) {
	dir := t.TempDir()
	s, content := open(t, photo.Options{Dir: dir}), jpegOf(t, cornered())
	name, err := s.Put(content)
	if err != nil || name != photo.Sum(content) || !s.Has(name) {
		t.Fatalf("%q: %v", name, err)
	}
	if again, err := s.Put(content); err != nil || again != name {
		t.Errorf("put again: %q, %v", again, err)
	}
	if got, mediaType, err := open(t, photo.Options{Dir: dir}).Get(name); err != nil || !bytes.Equal(got, content) || mediaType != "image/jpeg" {
		t.Errorf("%d bytes of %s: %v", len(got), mediaType, err)
	}
	for _, unknown := range []string{photo.Sum(nil), "../../etc/passwd", ""} {
		if _, _, err := s.Get(unknown); err == nil || s.Has(unknown) {
			t.Errorf("%q is there", unknown)
		}
	}
}

func TestStore_TellsDamageAndReturnsNoneOfIt(t *testing.T) {
	dir := t.TempDir()
	s := open(t, photo.Options{Dir: dir})
	name, err := s.Put(jpegOf(t, cornered()))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, name[:2], name)
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	content[len(content)/2] ^= 1
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	if got, _, err := s.Get(name); !fault.Is(err, fault.Lost) || got != nil {
		t.Errorf("%d bytes, %v", len(got), err)
	}
}

func TestStore_RefusesWhenThereIsNoRoomAndKeepsWhatItHas(t *testing.T) {
	first := jpegOf(t, cornered())
	dir := t.TempDir()
	s := open(t, photo.Options{Dir: dir, Room: int64(len(first)) + 10})
	name, err := s.Put(first)
	if err != nil {
		t.Fatal(err)
	}
	other := jpegOf(t, image.NewGray(image.Rect(0, 0, 9, 9)))
	for _, s := range []*photo.Store{s, open(t, photo.Options{Dir: dir, Room: int64(len(first)) + 10})} {
		if _, err := s.Put(other); !fault.Is(err, fault.Exhausted) {
			t.Errorf("%v", err)
		}
		if _, err := s.Put(first); err != nil || !s.Has(name) {
			t.Errorf("one that is there needs no room: %v", err)
		}
	}
}

func TestStore_ClearsAwayWhatWasNeverFinished(t *testing.T) {
	dir := t.TempDir()
	draft := filepath.Join(dir, "ab", photo.Sum(nil)+durable.Unfinished)
	if err := os.MkdirAll(filepath.Dir(draft), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(draft, []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	open(t, photo.Options{Dir: dir})
	if _, err := os.Stat(draft); !os.IsNotExist(err) {
		t.Errorf("the draft is still there: %v", err)
	}
}

func TestCamera_KeepsWhatItShrank(t *testing.T) {
	s := open(t, photo.Options{Dir: t.TempDir()})
	name, err := photo.Camera{Store: s}.Put(lying(jpegOf(t, cornered()), binary.LittleEndian, "II*\x00", 6))
	if err != nil {
		t.Fatal(err)
	}
	content, _, err := s.Get(name)
	if err != nil {
		t.Fatal(err)
	}
	if config, err := jpeg.DecodeConfig(bytes.NewReader(content)); err != nil || config.Width != 32 || config.Height != 48 {
		t.Errorf("%+v: %v", config, err)
	}
}

func FuzzShrink(f *testing.F) {
	stored := jpegOf(f, cornered())
	var drawn bytes.Buffer
	if err := png.Encode(&drawn, cornered()); err != nil {
		f.Fatal(err)
	}
	for orientation := range uint16(10) {
		f.Add(lying(stored, binary.BigEndian, "MM\x00*", orientation))
	}
	f.Add(stored)
	f.Add(drawn.Bytes())
	f.Add([]byte(fmt.Sprintf("\xFF\xD8\xFF\xE1\x00\x10Exif\x00\x00II*\x00%c%c%c%c", 0xFF, 0xFF, 0xFF, 0xFF)))
	f.Fuzz(func(t *testing.T, content []byte) {
		if config, _, err := image.DecodeConfig(bytes.NewReader(content)); err == nil && config.Width*config.Height > 1<<22 {
			return // large pictures are slow, not different
		}
		small, err := photo.Shrink(content)
		if err != nil {
			return
		}
		if mediaType, err := photo.MediaType(small); err != nil || mediaType != "image/jpeg" {
			t.Errorf("made %q: %v", mediaType, err)
		}
	})
}
