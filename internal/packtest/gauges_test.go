package packtest

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// readOn is the day on which every made answer is given.
var readOn = time.Date(2026, 2, 3, 8, 0, 0, 0, time.UTC)

// gaugeOf names the made gauge of a quantity.
func gaugeOf(q pb.Quantity) string {
	return map[pb.Quantity]string{
		pb.Quantity_QUANTITY_PRESSURE: "gauges/p-01", pb.Quantity_QUANTITY_LENGTH: "gauges/d-01",
		pb.Quantity_QUANTITY_VOLTAGE: "gauges/v-01", pb.Quantity_QUANTITY_TEMPERATURE: "gauges/r-01",
	}[q]
}

// register has one gauge of each quantity, in date and next to perfect, so that
// what rules say of a value is not about the gauge. A depth gauge errs by a
// nanometre, for depths without any error count as depths of unknown worth.
func register() map[string]*pb.Gauge {
	gauges := map[string]*pb.Gauge{}
	for _, q := range []pb.Quantity{
		pb.Quantity_QUANTITY_PRESSURE, pb.Quantity_QUANTITY_LENGTH, pb.Quantity_QUANTITY_VOLTAGE, pb.Quantity_QUANTITY_TEMPERATURE,
	} {
		g := &pb.Gauge{Name: gaugeOf(q), Quantity: q, CalibrationDue: timestamppb.New(readOn.AddDate(1, 0, 0))}
		if q == pb.Quantity_QUANTITY_LENGTH {
			g.MaxPermissibleError = 1e-6
		}
		gauges[g.GetName()] = g
	}
	return gauges
}

// observe makes what rules see of a made answer, read with the made gauge of its
// quantity.
func observe(s *pb.CheckStep, r *pb.Result) *pb.Observation {
	r.LookedAt = timestamppb.New(readOn)
	if len(s.GetParts()) > 0 {
		r.Gauge = gaugeOf(s.GetParts()[0].GetQuantity())
	}
	return rules.Circumstances{Gauges: register()}.Observe(s, r)
}
