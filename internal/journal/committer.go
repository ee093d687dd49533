package journal

import (
	"bayround/internal/fault"
	"bayround/internal/faultpoint"
)

// request is a command on its way to the committer.
type request struct {
	command Command
	decide  Decide
	answer  chan answer // holds one; the committer always fills it
}

type answer struct {
	receipt Receipt
	err     error
}

// run is the committer: the one goroutine that writes. While one batch is
// being synced the next gathers at the queue, so no timer is needed.
func (j *Journal) run() {
	defer close(j.ended)
	for {
		var err error
		select {
		case <-j.closing:
			return
		case r := <-j.queue:
			err = j.serve(r)
		case r := <-j.rebuilds:
			err = j.serveRebuild(r)
		}
		if err != nil {
			return // whoever still waits hears it from j.failed
		}
	}
}

// serve commits one batch that begins with first. Nobody is answered before
// the commit, not even who is told of a repeated command or of an error of
// decide: such an answer may rest on something in the same batch.
func (j *Journal) serve(first *request) error {
	b := j.newBatch()
	defer b.txn.Discard()
	for r := first; r != nil; r = j.more(b) {
		b.take(r)
	}
	err := b.commit()
	if err == nil && len(b.erased) > 0 {
		err = j.wipe(b.erased)
	}
	if err == nil && b.entries > 0 {
		j.publish(b.edge, b.head)
		err = faultpoint.Hit(faultpoint.JournalBeforeAnswer)
	}
	if err != nil {
		fatal := j.stop(err)
		for _, w := range b.waiting {
			w.request.answer <- answer{err: fatal}
		}
		return fatal
	}
	for _, w := range b.waiting {
		w.request.answer <- w.answer
	}
	return nil
}

// more returns the next waiting command, or nil when none waits or the batch
// is full.
func (j *Journal) more(b *batch) *request {
	if b.full() {
		return nil
	}
	select {
	case r := <-j.queue:
		return r
	default:
		return nil
	}
}

// publish tells everybody what is durable now.
func (j *Journal) publish(e edge, head []byte) {
	j.edge = e
	j.mu.Lock()
	if e.size > j.size {
		j.size, j.head = e.size, head
		close(j.grown)
		j.grown = make(chan struct{})
	}
	j.mu.Unlock()
	if j.committed != nil {
		j.committed(e.size)
	}
}

// stop ends the journal's writing life after a failed commit.
func (j *Journal) stop(cause error) error {
	j.log.Error("journal stopped after a failed commit", "cause", cause)
	j.mu.Lock()
	defer j.mu.Unlock()
	j.failure = fault.New(fault.Unavailable, "JOURNAL_STOPPED",
		"the journal has stopped because a write failed, and nobody knows what reached the disk; open it again, then repeat with the same command id").
		Because(cause)
	close(j.failed)
	return j.failure
}

// stopped returns why the journal has stopped.
func (j *Journal) stopped() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.failure
}
