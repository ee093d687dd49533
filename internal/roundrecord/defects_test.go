package roundrecord_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// The page tells of each finding what became of its defect, by the life in which it was found.
func TestWriteHTML_TellsWhatBecameOfAFinding(t *testing.T) {
	day := func(n int) *timestamppb.Timestamp {
		return timestamppb.New(time.Date(2026, 2, 3+n, 9, 0, 0, 0, time.UTC))
	}
	defect := func(change func(*pb.Defect)) *pb.Defect {
		d := &pb.Defect{
			Name: "vehicles/wn21/defects/3f2a9c", StepId: "TYR-010/a", Findings: []*pb.Finding{{Pack: "packs/p", Rule: "low"}},
			FirstFound: timestamppb.New(time.Date(2026, 2, 3, 7, 30, 0, 0, time.UTC)), State: pb.DefectState_DEFECT_STATE_OPEN,
		}
		change(d)
		return d
	}
	repair := &pb.Repair{Person: "people/bo", Done: "valve renewed", StationTime: day(2), Parts: []string{"valve"}}
	for name, tc := range map[string]struct {
		defect *pb.Defect
		want   []string
		not    string
	}{
		"open": {defect(func(*pb.Defect) {}), []string{"Defect wn21/3f2a9c, open"}, "Repaired"},
		"answered and deferred": {
			defect(func(d *pb.Defect) {
				d.State = pb.DefectState_DEFECT_STATE_DEFERRED
				d.Acknowledgement = &pb.Acknowledgement{Person: "people/bo", StationTime: day(0), Planned: day(1), Note: "valve ordered"}
				d.Deferral = &pb.Deferral{Person: "people/ada", StationTime: day(0), Expires: day(4), Reason: "spare on its way", Restrictions: []*pb.Restriction{{Text: "not above 50 km/h"}}}
			}),
			[]string{
				"Defect wn21/3f2a9c, deferred until 7 Feb 2026 09:00:00 UTC", "Answered by bo on 3 Feb 2026 09:00:00 UTC, planned for 4 Feb 2026 09:00:00 UTC: valve ordered",
				"Deferred by Ada", "until 7 Feb 2026 09:00:00 UTC: spare on its way", "Limit then not above 50 km/h",
			},
			"Closed",
		},
		"repaired and closed": {
			defect(func(d *pb.Defect) {
				d.State, d.Repair, d.Closed, d.ClosedBy = pb.DefectState_DEFECT_STATE_CLOSED, repair, day(3), "people/cy"
			}),
			[]string{"3f2a9c, closed", "Repaired by bo on 5 Feb 2026 09:00:00 UTC: valve renewed (valve)", "Closed 6 Feb 2026 09:00:00 UTC, found sound by cy"},
			"Deferred",
		},
		"repaired in vain, then closed by a look": {
			defect(func(d *pb.Defect) {
				d.Earlier = []*pb.EarlierDefect{{FirstFound: d.GetFirstFound(), Repair: repair}}
				d.State, d.Closed, d.ClosedBy = pb.DefectState_DEFECT_STATE_CLOSED, day(3), "people/cy"
			}),
			[]string{"3f2a9c, closed", "Repaired by bo on 5 Feb 2026 09:00:00 UTC: valve renewed (valve); it did not hold", "Closed 6 Feb 2026"},
			"open",
		},
		"it came back since": {
			defect(func(d *pb.Defect) {
				d.Earlier = []*pb.EarlierDefect{{FirstFound: d.GetFirstFound(), Repair: repair, Closed: day(3)}}
				d.FirstFound = day(9)
			}),
			[]string{"put right then and found again on 12 Feb 2026", "Repaired by bo", "Closed 6 Feb 2026"},
			"3f2a9c, open",
		},
		"of another step": {defect(func(d *pb.Defect) { d.StepId = "TYR-010/b" }), nil, "3f2a9c"},
		"of another rule": {defect(func(d *pb.Defect) { d.Findings[0].Rule = "high" }), nil, "3f2a9c"},
	} {
		t.Run(name, func(t *testing.T) {
			r := small()
			r.Defects = []*pb.Defect{tc.defect}
			told := read(t, r)
			for _, want := range tc.want {
				if !strings.Contains(told, want) {
					t.Errorf("%q is not told:\n%.2000s", want, told)
				}
			}
			if strings.Contains(told, tc.not) {
				t.Errorf("%q is told", tc.not)
			}
		})
	}
}
