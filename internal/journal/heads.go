package journal

import (
	"errors"
	"fmt"
	"path/filepath"
	"sync"

	"bayround/internal/durable"
	"bayround/internal/faultpoint"
)

// The files beside the store that hold signed checkpoints.
const (
	headAFile    = "head-a"
	headBFile    = "head-b"
	headSeenFile = "head-seen"
)

// headWriter writes the newest committed head beside the store, into two files in
// turn, on a goroutine of its own: a head is on its way to disk while the next
// batch is. What it has not written yet is replaced by what is newer.
type headWriter struct {
	dir  string
	next string                                  // file to write next; owned by the goroutine
	put  func(path string, content []byte) error // the step that may fail; tests wrap it
	fail func(cause error) error                 // ends the journal's writing life

	wake    chan struct{} // holds one: there is a newer head
	closing chan struct{}
	ended   chan struct{}

	mu   sync.Mutex
	head []byte // guarded by mu: newest committed one that is not on its way yet
}

// newHeadWriter makes one that writes over the file next first.
func newHeadWriter(dir, next string, fail func(cause error) error) *headWriter {
	return &headWriter{
		dir: dir, next: next, put: putHead, fail: fail,
		wake: make(chan struct{}, 1), closing: make(chan struct{}), ended: make(chan struct{}),
	}
}

// hand gives it a head that is committed, and does not wait.
func (k *headWriter) hand(head []byte) {
	k.mu.Lock()
	k.head = head
	k.mu.Unlock()
	select {
	case k.wake <- struct{}{}:
	default:
	}
}

// run writes until it is closed. After a failed write nobody knows what is on
// disk, so it writes nothing more.
func (k *headWriter) run() {
	defer close(k.ended)
	for last := false; !last; {
		select {
		case <-k.wake:
		case <-k.closing:
			last = true
		}
		if err := k.write(); err != nil {
			k.fail(err)
			return
		}
	}
}

// close waits until the newest head is written. Nothing may be handed over any more.
func (k *headWriter) close() {
	close(k.closing)
	<-k.ended
}

// write puts the newest head in place, if there is one that is not yet.
func (k *headWriter) write() (err error) {
	k.mu.Lock()
	head := k.head
	k.head = nil
	k.mu.Unlock()
	if head == nil {
		return nil
	}
	defer recovered("writing a head", &err)
	if err := k.put(filepath.Join(k.dir, k.next), head); err != nil {
		return fmt.Errorf("write the file %s: %w", k.next, err)
	}
	k.next = otherHead(k.next)
	return nil
}

// otherHead is the head file that is not name.
func otherHead(name string) string {
	if name == headAFile {
		return headBFile
	}
	return headAFile
}

// putHead writes a head file whole.
func putHead(path string, head []byte) error {
	draft, err := durable.Begin(path)
	if err != nil {
		return err
	}
	defer draft.Discard()
	if _, err := draft.Write(head); err != nil {
		return err
	}
	if err := errors.Join(draft.Seal(), faultpoint.Hit(faultpoint.JournalBeforeHeadRename)); err != nil {
		return err
	}
	return draft.Place()
}

// errPanicked says that a write ended in a panic instead of an error.
var errPanicked = errors.New("it panicked")

// recovered is deferred round a write: a panic in it leaves the disk in as
// unknown a state as an error, and ends the journal in the same way.
func recovered(doing string, err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("%s: %w: %v", doing, errPanicked, p)
	}
}
