// Package durable puts files in place whole and for good. It knows nothing of what
// they hold.
//
// A file is written beside its place, under its name and Unfinished; it is flushed,
// it is renamed, and the directory is flushed. A kill or a power cut leaves this:
//
//   - before the rename: the old file, whole, or none where there was none; and
//     perhaps an unfinished one beside it, which the next attempt overwrites,
//   - after the rename, before the directory is flushed: after a kill the new file;
//     after a power cut the old or the new one, whole either way,
//   - after Place or Replace has returned nil: the new file.
//
// An error before the rename leaves the old file and nothing beside it. After an
// error of the rename or of the directory either file may be there, whole, and a
// power cut may still change which. Whoever cannot live with both must stop. A
// flush that failed is never tried again: the kernel may by then have forgotten what
// it could not write (Rebello et al., Can Applications Recover from fsync Failures?,
// USENIX ATC 2020).
//
// All this holds on a local file system that keeps what a flush promises. Files can
// be read and written by their owner alone. Two writers of one file at a time are
// the caller's mistake.
package durable

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// Unfinished ends the name of a file that is still being written.
const Unfinished = ".new"

// Replace puts content in the place of the file at path, or makes it. Once it returns
// nil the content is on disk.
func Replace(path string, content []byte) error {
	d, err := Begin(path)
	if err != nil {
		return err
	}
	defer d.Discard()
	if _, err := d.Write(content); err != nil {
		return err
	}
	return d.Place()
}

// Draft is new content for a file, beside it until it takes its place. It belongs to
// one goroutine.
type Draft struct {
	path   string
	file   *os.File
	sealed error // what came of the flush; nil, too, while there was none
	done   stage
}

// stage is how far a draft has come.
type stage int

const (
	open stage = iota
	sealed
	gone // in its place, or discarded
)

// Begin starts new content for the file at path. Discard must be called in the end;
// deferred, it does no harm to what was placed.
func Begin(path string) (*Draft, error) {
	f, err := os.OpenFile(path+Unfinished, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return nil, err
	}
	return &Draft{path: path, file: f}, nil
}

// Write adds to the content.
func (d *Draft) Write(b []byte) (int, error) { return d.file.Write(b) }

// Seal flushes the content to disk; nothing can be added after it.
func (d *Draft) Seal() error {
	if d.done == open {
		d.sealed, d.done = errors.Join(d.file.Sync(), d.file.Close()), sealed
	}
	return d.sealed
}

// Place seals the draft if need be and puts it in the place of what was there before.
func (d *Draft) Place() error {
	if err := d.Seal(); err != nil {
		return err
	}
	if err := os.Rename(d.path+Unfinished, d.path); err != nil {
		return err
	}
	d.done = gone
	return SyncDir(filepath.Dir(d.path))
}

// Discard removes a draft that was not placed. What was placed stays.
func (d *Draft) Discard() error {
	if d.done == gone {
		return nil
	}
	var closing error
	if d.done == open {
		closing = d.file.Close()
	}
	d.done = gone
	return errors.Join(closing, os.Remove(d.path+Unfinished))
}

// Rename gives a file or a directory another name in the same directory, for good.
// What the file holds must have been flushed before.
func Rename(from, to string) error {
	if err := os.Rename(from, to); err != nil {
		return err
	}
	return SyncDir(filepath.Dir(to))
}

// Remove removes a file for good. That it is not there is no error.
func Remove(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return SyncDir(filepath.Dir(path))
}

// SyncDir makes the names in a directory durable.
func SyncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
