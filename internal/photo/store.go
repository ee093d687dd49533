// Package photo keeps photos on disk, each named by what it is: the SHA-256 of its
// bytes, in hex. A photo lies in DIR/ab/abcd… and is there whole or not at all;
// once Put has returned, it is synced. What is damaged is told, never returned.
package photo

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg" // what a tablet's camera makes
	_ "image/png"  // what a screen makes
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"sync"

	"bayround/internal/durable"
	"bayround/internal/fault"
)

const (
	// MaxBytes is the largest photo that is kept.
	MaxBytes = 900 << 10
	// maxPixels is the largest picture that is looked into.
	maxPixels = 50_000_000
	// usualRoom is how much all photos may take when nothing else is said.
	usualRoom = 2 << 30
)

// Options says where photos are kept.
type Options struct {
	// Dir is their folder, on a local disk; made when it is not there.
	Dir string
	// Room is how many bytes all of them may take; 0 for 2 GiB.
	Room int64
}

// Store keeps photos. Its methods may be called from any goroutine.
type Store struct {
	dir  string
	room int64

	mu   sync.Mutex
	used int64 // guarded by mu: bytes of all photos
}

// name is what a photo may be called.
var name = regexp.MustCompile(`^[0-9a-f]{64}$`)

// Open opens the folder, counts what lies in it and clears away what was never
// finished.
func Open(o Options) (*Store, error) {
	s := &Store{dir: o.Dir, room: o.Room}
	if s.room == 0 {
		s.room = usualRoom
	}
	if err := os.MkdirAll(s.dir, 0o700); err != nil {
		return nil, fmt.Errorf("making the folder of photos: %w", err)
	}
	err := filepath.WalkDir(s.dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		if !name.MatchString(entry.Name()) {
			return s.clear(path)
		}
		info, err := entry.Info()
		if err == nil {
			s.used += info.Size()
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("reading the folder of photos: %w", err)
	}
	return s, nil
}

// clear removes a draft of ours; anything else in the folder is left alone.
func (s *Store) clear(path string) error {
	if filepath.Ext(path) != durable.Unfinished {
		return nil
	}
	return os.Remove(path)
}

// Sum is the name of a photo.
func Sum(content []byte) string {
	sum := sha256.Sum256(content)
	return hex.EncodeToString(sum[:])
}

// Put keeps a photo and returns its name. One that is there already changes
// nothing. What is no JPEG or PNG, or too large, is refused as invalid; when there
// is no room it is refused as exhausted.
func (s *Store) Put(content []byte) (sha256 string, err error) {
	if _, err := MediaType(content); err != nil {
		return "", err
	}
	sha256 = Sum(content)
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.has(sha256) {
		return sha256, nil
	}
	if s.used+int64(len(content)) > s.room {
		return "", fault.New(fault.Exhausted, "PHOTOS_FULL",
			"there is no room for more photos; remove old ones. Results are taken all the same")
	}
	if err := s.write(sha256, content); err != nil {
		return "", fmt.Errorf("keeping photo %s: %w", sha256, err)
	}
	s.used += int64(len(content))
	return sha256, nil
}

// write makes the photo's file appear whole, and synced, or not at all.
func (s *Store) write(sha256 string, content []byte) error {
	folder := filepath.Dir(s.path(sha256))
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	if err := durable.Replace(s.path(sha256), content); err != nil {
		return err
	}
	return durable.SyncDir(s.dir)
}

// Get returns a photo and its media type. One that is not there is not found; one
// whose bytes are no longer what its name says is lost.
func (s *Store) Get(sha256 string) (content []byte, mediaType string, err error) {
	if !name.MatchString(sha256) {
		return nil, "", fault.New(fault.Invalid, "PHOTO_NAME_WRONG", "%q is no name of a photo; it is the SHA-256 of its bytes, in hex", sha256)
	}
	content, err = os.ReadFile(s.path(sha256))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, "", fault.New(fault.NotFound, "PHOTO_UNKNOWN", "photo %s has not arrived; the tablet sends it when it is connected", sha256)
	}
	if err != nil {
		return nil, "", fmt.Errorf("reading photo %s: %w", sha256, err)
	}
	if Sum(content) != sha256 {
		return nil, "", fault.New(fault.Lost, "PHOTO_DAMAGED", "photo %s is damaged on the disk; look for it on the tablet that took it", sha256)
	}
	mediaType, err = MediaType(content)
	return content, mediaType, err
}

// Has reports whether a photo is there.
func (s *Store) Has(sha256 string) bool { return name.MatchString(sha256) && s.has(sha256) }

func (s *Store) has(sha256 string) bool {
	_, err := os.Stat(s.path(sha256))
	return err == nil
}

func (s *Store) path(sha256 string) string { return filepath.Join(s.dir, sha256[:2], sha256) }

// MediaType is image/jpeg or image/png; anything else, or more than may be kept,
// is refused.
func MediaType(content []byte) (string, error) {
	if len(content) > MaxBytes {
		return "", fault.New(fault.Invalid, "PHOTO_TOO_LARGE", "a photo has at most %d KiB, this one has %d; make it smaller", MaxBytes>>10, len(content)>>10)
	}
	format, err := formatOf(content)
	if err != nil {
		return "", err
	}
	return "image/" + format, nil
}

// formatOf is jpeg or png.
func formatOf(content []byte) (string, error) {
	config, format, err := image.DecodeConfig(bytes.NewReader(content))
	if err != nil {
		return "", fault.New(fault.Invalid, "PHOTO_NOT_READABLE", "this is no JPEG or PNG picture; take the photo again").Because(err)
	}
	if int64(config.Width)*int64(config.Height) > maxPixels {
		return "", fault.New(fault.Invalid, "PHOTO_TOO_LARGE", "a photo has at most %d megapixels; set the camera lower", maxPixels/1_000_000)
	}
	return format, nil
}
