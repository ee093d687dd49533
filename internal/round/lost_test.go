package round_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"bayround/internal/round"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// A station that was set back to an older copy, and has come further since by what others
// recorded, no longer vouches for a verdict that it lost. Neither the tablet's tile nor the
// display keeps it, whether or not the tablet notices that the record is another, and also
// when a person has accepted the loss.
func TestUplink_KeepsNoVerdictThatTheStationHasLost(t *testing.T) {
	for _, tc := range []struct {
		why      string
		open     func(testing.TB, *stationtest.Proxy, string) *tablet
		accepted bool
	}{
		{"a tablet that takes the station's word", newTablet, false},
		{"a tablet that holds the station to its record", newWitness, false},
		{"a loss that was accepted", newWitness, true},
	} {
		t.Run(tc.why, func(t *testing.T) {
			o := openOfRecord(t)
			_, err := o.RecordIncident(t.Context(), &pb.RecordIncidentRequest{RequestId: uuid.NewString(), Vehicle: secondPump, Person: "people/driver"})
			must(t, err) // a copy of an empty record would be another record, with a name of its own
			o.keepCopy()
			b := tc.open(t, o.wire, "tablet-1")
			o.RecordAll(firstPump, shiftCheck)
			shown := func(want pb.Verdict) func() bool {
				return func() bool {
					tile, bay := b.up.Station(firstPump), tileOf(b.up.Bay(), firstPump)
					return b.up.Live() && tile.GetVerdict() == want && bay.GetVerdict() == want
				}
			}
			b.await("the pump to be shown fit", shown(pb.Verdict_VERDICT_FIT))
			if b.witness {
				b.await("the whole record to be copied", func() bool { return b.up.Copied() == o.size() })
			}
			had := o.Readiness(firstPump).GetSequence()
			newest, err := o.GetCheckpoint(t.Context(), &pb.GetCheckpointRequest{})
			must(t, err)
			o.halt(func() {
				o.Close()
				if tc.accepted {
					acceptLoss(t, o.copied, newest.GetCheckpoint())
				}
				o.Kit = stationtest.OpenWith(o.T, nil, station.Options{Dir: o.copied, Defaults: stationtest.Small()})
				for o.Readiness(secondPump).GetSequence() <= had {
					o.RecordAll(secondPump, shiftCheck)
				}
			})
			b.await("the pump to be shown as the station says it now", shown(pb.Verdict_VERDICT_UNPROVEN))
			for _, e := range b.up.Bay().Events {
				if strings.Contains(e.Text, "is not proven") {
					t.Errorf("the display says %q as if it had happened", e.Text)
				}
			}
		})
	}
}

// tileOf is what the bay display shows of a vehicle; nil when it shows none.
func tileOf(bay *round.Bay, vehicle string) *pb.Readiness {
	for _, r := range bay.Vehicles {
		if r.GetVehicle() == vehicle {
			return r
		}
	}
	return nil
}
