package station

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/catalogue"
	"bayround/internal/measure"
	"bayround/internal/trend"
	pb "bayround/proto/bayround/v1"
)

// told puts a forecast into days and words.
func (m *model) told(step *pb.CheckStep, limit *pb.LimitLine, f trend.Forecast) *pb.Forecast {
	told := &pb.Forecast{Limit: limit, Earliest: timestamppb.New(f.Earliest), Likely: timestamppb.New(f.Likely)}
	if !f.Latest.IsZero() {
		told.Latest = timestamppb.New(f.Latest)
	}
	told.Text = fmt.Sprintf("reaches %s %s", boundWords(step, limit.GetBound()), daysWords(f, m.zone()))
	return told
}

// zone is the time zone of the vehicle's station; UTC where this computer does not know it.
func (m *model) zone() *time.Location {
	zone, err := time.LoadLocation(m.station.GetTimeZone())
	if err != nil {
		return time.UTC
	}
	return zone
}

// boundWords is a bound in the unit the station shows the step in.
func boundWords(step *pb.CheckStep, bound float64) string {
	q, unit := quantityOf(step)
	if shown, err := measure.Convert(bound, catalogue.UnitOf(q), unit); err == nil {
		bound = shown
	}
	words := strconv.FormatFloat(math.Round(bound*100)/100, 'f', -1, 64)
	if unit == "" || unit == "1" {
		return words
	}
	return words + " " + unit
}

// daysWords says between which days, as people read a calendar.
func daysWords(f trend.Forecast, zone *time.Location) string {
	from, to := f.Earliest.In(zone), f.Latest.In(zone)
	switch {
	case f.Latest.IsZero():
		return "on " + from.Format("2 January 2006") + " at the earliest"
	case from.Format(time.DateOnly) == to.Format(time.DateOnly):
		return "on " + to.Format("2 January 2006")
	case from.Year() == to.Year() && from.Month() == to.Month():
		return "between " + from.Format("2") + " and " + to.Format("2 January 2006")
	case from.Year() == to.Year():
		return "between " + from.Format("2 January") + " and " + to.Format("2 January 2006")
	}
	return "between " + from.Format("2 January 2006") + " and " + to.Format("2 January 2006")
}

// ListForecasts returns a page of what will next reach a limit, soonest first.
func (s *Station) ListForecasts(ctx context.Context, req *pb.ListForecastsRequest) (*pb.ListForecastsResponse, error) {
	after, err := readPageToken(req)
	if err != nil {
		return nil, err
	}
	p, now := s.current.Load(), s.clock()
	var all []*pb.StepForecast
	for _, name := range p.names {
		snap := p.vehicles[name]
		if req.GetStation() != "" && snap.model.vehicle.GetStation() != req.GetStation() {
			continue
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		all = append(all, snap.forecasts(now)...)
	}
	slices.SortFunc(all, func(a, b *pb.StepForecast) int { return cmp.Compare(forecastKey(a), forecastKey(b)) })
	if after != "" {
		all = slices.DeleteFunc(all, func(f *pb.StepForecast) bool { return forecastKey(f) <= after })
	}
	resp := &pb.ListForecastsResponse{Forecasts: all}
	if size := pageSize(req); len(all) > size {
		resp.Forecasts = all[:size]
		resp.NextPageToken = pageToken(req, forecastKey(all[size-1]))
	}
	return resp, nil
}

// forecastKey sorts forecasts: by the day that is likely, then by place. Days are
// whole, so that a page does not shift by the seconds between two requests.
func forecastKey(f *pb.StepForecast) string {
	return strings.Join([]string{f.GetForecast().GetLikely().AsTime().Format(time.DateOnly), f.GetVehicle(), f.GetStepId()}, " ")
}

// forecasts are those of all steps of the vehicle.
func (s *snapshot) forecasts(now time.Time) []*pb.StepForecast {
	var all []*pb.StepForecast
	for _, id := range sortedKeys(s.measured) {
		step := s.model.steps[id]
		if step == nil {
			continue
		}
		o := s.observation(step)
		if o == nil {
			continue
		}
		if f := s.model.forecast(o, s.model.limits(o), now); f != nil {
			all = append(all, &pb.StepForecast{
				Vehicle: s.model.vehicle.GetName(), CallSign: s.model.vehicle.GetCallSign(),
				StepId: id, Title: step.GetTitle(), Forecast: f,
			})
		}
	}
	return all
}
