//go:build faultpoints

package faultpoint

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"sync"
	"time"
)

// Hit tells that a point is reached, and does what the plan says of this time.
func Hit(at Point) error {
	plan, err := environment()
	if err != nil {
		fmt.Fprintln(os.Stderr, Variable+":", err)
		os.Exit(2)
	}
	var due *step
	for _, s := range plan { // each counts for itself, whatever another does
		if s.point == at && s.hits.Add(1) == s.time {
			due = s
		}
	}
	if due == nil {
		return nil
	}
	return due.act()
}

// environment is the plan of this process, read at the first point it reaches.
var environment = sync.OnceValues(func() ([]*step, error) { return parse(os.Getenv(Variable)) })

func (s *step) act() error {
	fmt.Fprintf(os.Stderr, "faultpoint %s: %s at hit %d\n", s.point, s.action, s.time)
	switch s.action {
	case actionExit:
		die()
	case actionPause:
		return pause(s.path)
	}
	return fmt.Errorf("%s, hit %d: %w", s.point, s.time, ErrInjected)
}

// die never returns.
func die() {
	if self, err := os.FindProcess(os.Getpid()); err == nil {
		_ = self.Kill()
	}
	select {} // until the kill arrives
}

// pauseLook is how often a paused point looks for its file.
const pauseLook = 5 * time.Millisecond

func pause(path string) error {
	if err := os.WriteFile(path+".reached", nil, 0o600); err != nil {
		return err
	}
	for {
		if _, err := os.Stat(path); err == nil {
			return nil
		} else if !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		time.Sleep(pauseLook)
	}
}
