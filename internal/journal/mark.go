package journal

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"bayround/internal/durable"
)

// mark is the file that stands in the directory while a process has the store
// open, and is locked by it. One that is there and not locked tells that the last
// stop was not a clean one.
type mark struct {
	file    *os.File
	unclean bool // it was there before us
}

// takeMark puts the mark in place.
func takeMark(dir string) (*mark, error) {
	path := filepath.Join(dir, openFile)
	for {
		f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
		if err != nil {
			return nil, unusable(dir, err)
		}
		if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
			if errors.Is(err, syscall.EWOULDBLOCK) {
				err = locked(dir, err)
			}
			return nil, errors.Join(err, f.Close())
		}
		m, err := ownMark(f, path)
		if m != nil && err == nil {
			return m, nil
		}
		if err = errors.Join(err, f.Close()); err != nil {
			return nil, err
		}
	}
}

// ownMark fills the mark that was locked; nil when whoever had it before has
// removed it meanwhile, and another one must be made.
func ownMark(f *os.File, path string) (*mark, error) {
	ours, err := f.Stat()
	if err != nil {
		return nil, err
	}
	there, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) || err == nil && !os.SameFile(ours, there) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if ours.Size() > 0 {
		return &mark{file: f, unclean: true}, nil
	}
	// An empty one was left by a process that died before it opened anything.
	if _, err := fmt.Fprintf(f, "process %d\n", os.Getpid()); err != nil {
		return nil, err
	}
	return &mark{file: f}, errors.Join(f.Sync(), durable.SyncDir(filepath.Dir(path)))
}

// leave gives the mark up; it stays where it is unless the stop is a clean one.
func (m *mark) leave(clean bool) error {
	var err error
	if clean {
		err = durable.Remove(m.file.Name())
	}
	return errors.Join(err, m.file.Close())
}
