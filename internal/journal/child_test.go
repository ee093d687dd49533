package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/dgraph-io/badger/v4"
)

// The test binary runs itself with these set: as the process that is killed,
// or the one whose system calls are watched.
const (
	childTask = "JOURNAL_TEST_CHILD"
	childDir  = "JOURNAL_TEST_DIR"
	childRun  = "JOURNAL_TEST_RUN" // goes into the command ids
)

// What a task may end with: Badger's logs are small, so that they are full soon;
// nothing is synced.
const (
	smallTask    = ", small logs"
	unsyncedTask = ", unsynced"
)

const (
	hammerCallers = 8
	aloneRecords  = 30
)

// runChild is the child's main. Every answer is one line on standard output,
// written in one system call after Append has returned.
func runChild(task, dir string) int {
	if task == "repair" {
		return repairChild(dir)
	}
	o := Options{Dir: dir, Origin: origin}
	task, unsynced := strings.CutSuffix(task, unsyncedTask)
	task, small := strings.CutSuffix(task, smallTask)
	o.tune = func(b badger.Options) badger.Options {
		if small {
			b = b.WithMemTableSize(2 << 20).WithValueThreshold(256 << 10)
		}
		return b.WithSyncWrites(!unsynced)
	}
	if task == crampedTask {
		o.Space, o.tune = cramped, smallStore
	}
	j, err := Open(context.Background(), o)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	fmt.Println("ready")
	if task == crampedTask {
		return runCramped(j)
	}
	if task == "hammer" {
		hammer(j)
		return 1 // only a failed append leads here
	}
	for n := range aloneRecords {
		if err := childAppend(j, fmt.Sprintf("alone/%d", n), n); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
	}
	fmt.Println("done")
	return 0 // without Close, which would sync as well
}

// hammer appends from several goroutines until the process is killed.
func hammer(j *Journal) {
	var wait sync.WaitGroup
	for caller := range hammerCallers {
		wait.Go(func() {
			for n := 0; ; n++ {
				if err := childAppend(j, fmt.Sprintf("%s/%d/%d", os.Getenv(childRun), caller, n), n); err != nil {
					fmt.Fprintln(os.Stderr, err)
					return
				}
			}
		})
	}
	wait.Wait()
}

func childAppend(j *Journal, id string, n int) error {
	r, err := j.Append(context.Background(), Command{ID: id}, always(childEntry(id, n)))
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(os.Stdout, "ack %s %d %d\n", id, r.First, r.Last)
	return err
}

// childEntry has one to three events and a row that names the entry. Every
// second is big, so that Badger's small logs are full soon.
func childEntry(id string, n int) Entry {
	var e Entry
	for i := range 1 + n%3 {
		e.Events = append(e.Events, fmt.Appendf(nil, "%s %d %d", id, i, 1+n%3))
	}
	if n%2 == 1 {
		e.Events[0] = append(e.Events[0], bytes.Repeat([]byte(" big"), 4<<10)...)
	}
	e.Rows = []Row{{Key: "last", Value: []byte(id)}}
	return e
}

// repairChild puts a store made anew from the old one in its place.
func repairChild(dir string) int {
	r, err := BeginRepair(dir, nil)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	s, err := r.Salvage(context.Background(), toldCommand, nil)
	if err == nil {
		commands := func(yield func(Stored, error) bool) {
			for _, from := range s.Stretches {
				for c, err := range s.Commands(from) {
					for _, a := range s.Apart {
						if digest := a.Digest(); bytes.Contains(c.Events[0].Record, digest[:]) {
							c.Apart = append(c.Apart, a)
						}
					}
					if !yield(c, err) {
						return
					}
				}
			}
		}
		_, err = r.Replace(context.Background(), Replacement{Head: s.Head, Note: []byte("told"), Now: time.Now()}, commands)
		err = errors.Join(err, s.Close())
	}
	if err = errors.Join(err, r.Close()); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}
