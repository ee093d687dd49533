package station

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// A look takes what had been said when somebody looked, however late either came and
// however wrong the device's clock was (the instants are the test's own).
func TestSaidBefore(t *testing.T) {
	at := func(minute int) time.Time {
		return time.Date(2026, time.March, 2, 7, minute, 0, 0, time.UTC)
	}
	spoken := func(odometer float64, station, device time.Time) statement {
		return statement{&pb.RoundConditions{OdometerKm: proto.Float64(odometer)}, station, device}
	}
	prompt := []statement{spoken(1, at(0), at(0)), spoken(2, at(10), at(10)), spoken(3, at(20), at(20))}
	slow := []statement{spoken(1, at(0), at(0)), spoken(2, at(40), at(4)), spoken(3, at(40), at(14))} // by 6 minutes, delivered at 40
	for name, tc := range map[string]struct {
		said   []statement
		looked int
		ahead  float64 // of the device's clock, in minutes
		want   []float64
	}{
		"between two":                         {prompt, 15, 0, []float64{1, 2}},
		"at the instant of one":               {prompt, 20, 0, []float64{1, 2, 3}},
		"before all":                          {[]statement{spoken(1, at(5), at(5)), spoken(2, at(6), at(6))}, 1, 0, []float64{1}},
		"a slow clock, before what was said":  {slow, 9, -6, []float64{1}},
		"a slow clock, after what was said":   {slow, 11, -6, []float64{1, 2}},
		"told of late by another device":      {[]statement{spoken(1, at(0), at(0)), spoken(3, at(20), at(20)), spoken(2, at(40), at(10))}, 30, 0, []float64{1, 2, 3}},
		"the device does not say when":        {[]statement{spoken(1, at(0), time.Time{}), spoken(2, at(10), time.Time{})}, 9, 0, []float64{1}},
		"a clock that runs ahead of its time": {[]statement{spoken(1, at(0), at(0)), spoken(2, at(10), at(50))}, 10, 0, []float64{1, 2}},
		"taken over, nobody knows when":       {[]statement{spoken(1, time.Time{}, time.Time{}), spoken(2, time.Time{}, time.Time{})}, 0, 0, []float64{1, 2}},
		"nothing was said":                    {nil, 0, 0, nil},
	} {
		t.Run(name, func(t *testing.T) {
			r := &pb.Result{LookedAt: timestamppb.New(at(tc.looked)), DeviceAheadS: proto.Float64(60 * tc.ahead)}
			var got []float64
			for _, c := range (&frame{said: tc.said}).saidBefore(r) {
				got = append(got, c.GetOdometerKm())
			}
			if d := cmp.Diff(tc.want, got); d != "" {
				t.Errorf("want -, got +\n%s", d)
			}
		})
	}
}
