package station_test

import (
	"context"
	"os"
	"testing"

	"google.golang.org/protobuf/proto"

	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// applied is a station to which a person applied the small configuration with texts
// replaced. Two of them bear the same numbers for what is in force.
func applied(t *testing.T, oldNew ...string) *stationtest.Kit {
	t.Helper()
	k := stationtest.OpenWith(t, nil, station.Options{Dir: t.TempDir()})
	k.ApplyAltered(oldNew...)
	return k
}

func TestOpen_LikeACopyIsAsWithoutIt(t *testing.T) {
	first := applied(t)
	first.Close()
	var found []*pb.StationFile
	for _, like := range []*station.Station{nil, first.Station} {
		dir := t.TempDir()
		if err := os.CopyFS(dir, os.DirFS(first.Dir())); err != nil {
			t.Fatal(err)
		}
		k := stationtest.OpenWith(t, nil, station.Options{Dir: dir, Like: like})
		k.ID() // the first of its ids was used at the first station
		k.ApplyAltered("title: G-1 tyre gauge", "title: Renamed")
		found = append(found, k.Library())
		if got := k.Library().GetGauges()[1].GetTitle(); got != "Renamed" {
			t.Errorf("the gauge is %q", got)
		}
	}
	if !proto.Equal(found[0], found[1]) {
		t.Error("with the first station at hand another library is in force")
	}
	if proto.Equal(first.Library(), found[1]) {
		t.Error("what was applied to the copy is in force at the first station")
	}
}

func TestOpen_LikeAnotherRecordCountsForNothing(t *testing.T) {
	other, own := applied(t), applied(t, "title: G-1 tyre gauge", "title: Renamed")
	want := own.Library()
	own.Close()
	again := stationtest.OpenWith(t, nil, station.Options{Dir: own.Dir(), Like: other.Station})
	got, err := again.GetLibrary(context.Background(), &pb.GetLibraryRequest{})
	if err != nil || !proto.Equal(got.GetLibrary(), want) {
		t.Errorf("the library of another record was taken over, %v", err)
	}
}
