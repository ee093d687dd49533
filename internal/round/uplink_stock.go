package round

import (
	"context"
	"sync/atomic"
	"time"

	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// shelves is what stations have of what is topped up, as the station of record last told
// it. It only informs: what is put right on a vehicle is recorded whatever it says.
type shelves struct{ current atomic.Pointer[shelf] }

// shelf is never changed once it was told.
type shelf struct {
	stocks []*pb.Stock
	at     time.Time
}

// stockTeller is an uplink that knows what the stations have.
type stockTeller interface {
	Stock() (all []*pb.Stock, at time.Time)
}

// Stock is what stations have, and when the station of record said so; nothing before it
// did. It must not be changed.
func (u *Uplink) Stock() (all []*pb.Stock, at time.Time) {
	if s := u.shelves.current.Load(); s != nil {
		return s.stocks, s.at
	}
	return nil, time.Time{}
}

// mostStock is how many materials are taken note of.
const mostStock = 1000

// takeStock asks what stations have. That it could not be asked for holds nothing up: a
// station of before keeps no account.
func (u *Uplink) takeStock(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	told, token := &shelf{at: u.clock()}, ""
	for len(told.stocks) < mostStock {
		resp, err := u.stock.ListStock(ctx, &pb.ListStockRequest{PageSize: 200, PageToken: token})
		if err != nil {
			u.log.Debug("what the station has in stock cannot be asked for now", "cause", err)
			return
		}
		told.stocks = append(told.stocks, resp.GetStocks()...)
		if token = resp.GetNextPageToken(); token == "" {
			break
		}
	}
	before := u.shelves.current.Swap(told)
	if before == nil || !sameStock(before.stocks, told.stocks) {
		u.changed.ring()
	}
}

func sameStock(a, b []*pb.Stock) bool {
	return proto.Equal(&pb.ListStockResponse{Stocks: a}, &pb.ListStockResponse{Stocks: b})
}

// stockView is what the station of the vehicle in hand has, and when that was told; without
// a vehicle what this tablet's has, or all where it was told none.
func (d *Desk) stockView() (all []*pb.Stock, at time.Time) {
	up, ok := d.uplink.(stockTeller)
	if !ok {
		return nil, time.Time{}
	}
	home := d.station
	if d.session.Vehicle != "" {
		home = d.scene.vehicle(d.session.Vehicle).GetStation()
	}
	stocks, at := up.Stock()
	for _, one := range stocks {
		if home == "" || one.GetStation() == home {
			all = append(all, one)
		}
	}
	return all, at
}
