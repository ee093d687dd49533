package photo

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"bayround/internal/durable"
)

// Sweep removes photos that nothing names any more: those of which gone is true, and
// those that were kept before an instant, as the file system tells it. What named is
// true of stays. It returns how many were removed.
func (s *Store) Sweep(named, gone func(sha256 string) bool, before time.Time) (removed int, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	err = filepath.WalkDir(s.dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || !name.MatchString(entry.Name()) || named(entry.Name()) {
			return err
		}
		info, err := entry.Info()
		if err != nil || !gone(entry.Name()) && !info.ModTime().Before(before) {
			return err
		}
		if err := os.Remove(path); err != nil {
			return err
		}
		removed++
		s.used -= info.Size()
		return durable.SyncDir(filepath.Dir(path))
	})
	if err != nil {
		return removed, fmt.Errorf("removing photos: %w", err)
	}
	return removed, nil
}
