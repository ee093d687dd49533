package deferral

import (
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// Until is a deferral of the case that ends at an instant, without who decided it,
// when and why. right must allow it and the instant lie within it.
func (c Case) Until(expires time.Time, right *pb.DeferralRight) *pb.Deferral {
	grade := worstGrade(c.Defect)
	d := &pb.Deferral{
		Expires: timestamppb.New(expires), ExpiresLocal: expires.In(c.Zone).Format("2006-01-02 15:04"),
		Interval: right.GetInterval(), Days: right.GetDays(), Grade: grade, Effect: c.takesAway(),
		WhenOver: c.interval(grade).GetWhenOver(), Extensions: c.extensions(expires, right), TogetherWith: right.GetTogetherWith(),
		Pack: c.Pack.GetName() + "@" + c.Pack.GetVersion(),
	}
	for _, before := range c.Pack.GetDeferral().GetWarnings() {
		d.WarnFrom = append(d.WarnFrom, timestamppb.New(expires.Add(-before.AsDuration())))
	}
	slices.SortFunc(d.WarnFrom, func(a, b *timestamppb.Timestamp) int { return a.AsTime().Compare(b.AsTime()) })
	return d
}

// extensions is how often the interval must have been extended to end no earlier.
func (c Case) extensions(expires time.Time, right *pb.DeferralRight) (n int32) {
	for expires.After(Latest(c.Defect.GetFirstFound().AsTime(), right.GetDays()*(1+n), c.Zone)) {
		n++
	}
	return n
}
