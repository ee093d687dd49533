package round

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	pb "bayround/proto/bayround/v1"
)

// board makes the bay display's picture. Each picture is whole and is never
// changed once it was made.
type board struct {
	current atomic.Pointer[Bay]
	changed *bell

	mu     sync.Mutex
	walk   *BayWalk   // guarded by mu
	stops  string     // guarded by mu: call signs
	events []BayEvent // guarded by mu: newest first; replaced, never changed
}

func (b *board) init() {
	b.changed = newBell()
	b.current.Store(&Bay{TimeZone: time.UTC})
}

// Bay returns what the bay display shows. It must not be changed.
func (u *Uplink) Bay() *Bay {
	if bay := u.bay.current.Load(); !bay.Live || u.heard.live() {
		return bay
	}
	u.renew() // the timer has not run yet: this program was held still
	return u.bay.current.Load()
}

// BayChanged is closed when Bay has changed.
func (u *Uplink) BayChanged() <-chan struct{} { return u.bay.changed.rung() }

// SetWalk says what the tablet beside the display is doing; nil for nothing. The
// walk must not be changed afterwards.
func (u *Uplink) SetWalk(w *BayWalk) {
	u.bay.mu.Lock()
	u.bay.walk = w
	u.bay.mu.Unlock()
	u.renew()
}

// SetStopped says which vehicles the tablet beside the display knows to be stopped, by
// call sign; empty for none.
func (u *Uplink) SetStopped(callSigns string) {
	u.bay.mu.Lock()
	u.bay.stops = callSigns
	u.bay.mu.Unlock()
	u.renew()
}

// renew makes the picture anew.
func (u *Uplink) renew() {
	u.bay.mu.Lock()
	defer u.bay.mu.Unlock()
	states, sequence, _ := u.heard.all()
	link := u.heard.link()
	bay := &Bay{
		Version: u.bay.current.Load().Version + 1, Now: u.clock(), TimeZone: time.UTC,
		Live: link.Live, Since: link.Since, Heard: u.heard.heardAt(), Sequence: sequence,
		Titles: map[string]string{}, Walk: u.bay.walk, Stopped: u.bay.stops, Events: u.bay.events,
	}
	alarm, _ := u.witness.say()
	bay.Alarm = alarm.shown()
	u.describe(bay, states)
	slices.SortFunc(bay.Vehicles, worstFirst)
	u.bay.current.Store(bay)
	u.bay.changed.ring()
}

// describe fills in what the twin knows: names, and tiles for vehicles of which
// the station was not heard yet. Those are never shown as live.
func (u *Uplink) describe(bay *Bay, states map[string]*pb.Readiness) {
	ctx := context.Background() // these read memory
	for _, r := range states {
		bay.Vehicles = append(bay.Vehicles, r)
	}
	if resp, err := u.twin.ListStations(ctx, &pb.ListStationsRequest{PageSize: 1}); err == nil && len(resp.GetStations()) > 0 {
		home := resp.GetStations()[0]
		bay.Station = home.GetTitle()
		if zone, err := time.LoadLocation(home.GetTimeZone()); err == nil {
			bay.TimeZone = zone
		}
	}
	vehicles, err := u.twin.ListVehicles(ctx, &pb.ListVehiclesRequest{PageSize: 200})
	if err != nil {
		return
	}
	for _, v := range vehicles.GetVehicles() {
		bay.Titles[v.GetName()] = v.GetTitle()
		if bay.Live || states[v.GetName()] != nil {
			continue
		}
		if resp, err := u.twin.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: v.GetName()}); err == nil {
			bay.Vehicles = append(bay.Vehicles, resp.GetReadiness())
		}
	}
}

// worstFirst orders vehicles by verdict, whose numbers rise with badness, then by
// call sign.
func worstFirst(a, b *pb.Readiness) int {
	return cmp.Or(
		cmp.Compare(b.GetVerdict(), a.GetVerdict()),
		strings.Compare(a.GetCallSign(), b.GetCallSign()),
		strings.Compare(a.GetVehicle(), b.GetVehicle()),
	)
}
