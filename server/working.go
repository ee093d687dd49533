package main

import (
	"sync"
	"time"
)

// How long something goes on before it is said, and how often it is said again.
const (
	firstWord = time.Second
	nextWord  = 10 * time.Second
)

// working says beside the answer that something still goes on, and for how long,
// until what it returns is called.
func (c *console) working(what string) (end func()) {
	over := make(chan struct{})
	var told sync.WaitGroup
	begun := time.Now()
	told.Go(func() {
		next := time.NewTimer(firstWord)
		defer next.Stop()
		for {
			select {
			case <-over:
				return
			case now := <-next.C:
				c.Complain("%s … %s", what, now.Sub(begun).Round(time.Second))
				next.Reset(nextWord)
			}
		}
	})
	return func() {
		close(over)
		told.Wait()
	}
}
