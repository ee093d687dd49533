//go:build faultpoints

package faultpoint

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
)

// The actions.
const (
	actionExit  = "exit"
	actionError = "error"
	actionPause = "pause"
)

// step is one part of a plan.
type step struct {
	point  Point
	action string
	path   string // of a pause
	time   int64  // at which hit, counted from 1
	hits   atomic.Int64
}

// parse reads a plan as the package comment describes it. The empty plan does nothing.
func parse(text string) (plan []*step, err error) {
	if text == "" {
		return nil, nil
	}
	for part := range strings.SplitSeq(text, ",") {
		s, err := parseStep(part)
		if err != nil {
			return nil, fmt.Errorf("%q: %w", part, err)
		}
		plan = append(plan, s)
	}
	return plan, nil
}

func parseStep(part string) (*step, error) {
	point, rest, named := strings.Cut(part, "=")
	at := strings.LastIndexByte(rest, '@')
	if !named || at < 0 {
		return nil, fmt.Errorf("want point=action@n")
	}
	if !slices.Contains(Points(), Point(point)) {
		return nil, fmt.Errorf("there is no such point; there are %v", Points())
	}
	time, err := strconv.ParseInt(rest[at+1:], 10, 64)
	if err != nil || time < 1 {
		return nil, fmt.Errorf("want a hit counted from 1 after the @")
	}
	action, path, pathed := strings.Cut(rest[:at], ":")
	if !slices.Contains([]string{actionExit, actionError, actionPause}, action) || pathed != (action == actionPause) || pathed && path == "" {
		return nil, fmt.Errorf("want exit, error or pause:path before the @")
	}
	return &step{point: Point(point), action: action, path: path, time: time}, nil
}
