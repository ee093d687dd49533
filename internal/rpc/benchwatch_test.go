package rpc_test

import (
	"context"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const (
	watchers       = 1000
	perConnection  = 63 // of 64 streams
	stateField     = 0x0a
	floorListen    = "/floor.Floor/Listen"
	watchReadiness = "/bayround.v1.ReadinessService/WatchReadiness"
)

// listener is one of many streams; it says over heard when a state has arrived.
func listen(b *testing.B, conn *grpc.ClientConn, method string, request []byte, heard chan<- struct{}) {
	b.Helper()
	stream, err := conn.NewStream(b.Context(), &grpc.StreamDesc{ServerStreams: true}, method, grpc.ForceCodecV2(plainBytes{}))
	if err != nil {
		b.Fatal(err)
	}
	if err := stream.SendMsg(request); err != nil {
		b.Fatal(err)
	}
	if err := stream.CloseSend(); err != nil {
		b.Fatal(err)
	}
	go func() {
		for {
			var bytes []byte
			if stream.RecvMsg(&bytes) != nil {
				return
			}
			if len(bytes) > 0 && bytes[0] == stateField {
				heard <- struct{}{}
			}
		}
	}()
}

// audience opens a thousand streams over as few connections as the limit allows.
func audience(b *testing.B, address, method string, request []byte) <-chan struct{} {
	b.Helper()
	heard := make(chan struct{}, watchers)
	var conn *grpc.ClientConn
	for n := range watchers {
		if n%perConnection == 0 {
			conn = dialLean(b, address)
		}
		listen(b, conn, method, request, heard)
	}
	return heard
}

// everybody waits until all have heard once.
func everybody(heard <-chan struct{}) {
	for range watchers {
		<-heard
	}
}

// BenchmarkWatch1000 takes the time from a durable change until the last of a
// thousand watchers has its state, against a bare fan-out of the same bytes by
// the same number of streams. Goal: at most 1.3 times.
//
// The station wakes watchers at most every ten milliseconds; changes come more
// slowly here, so that this rest is not part of what is measured.
func BenchmarkWatch1000(b *testing.B) {
	kit := stationtest.Open(b)
	round := kit.RecordAll("vehicles/p1", "routines/shift")
	request, err := proto.Marshal(&pb.WatchReadinessRequest{Vehicles: []string{"vehicles/p1"}})
	if err != nil {
		b.Fatal(err)
	}
	ours := audience(b, stationtest.Serve(b, kit.Station, rpc.Options{}).Address, watchReadiness, request)
	everybody(ours) // the present state
	bare := &floor{}
	bare.ready.Add(watchers)
	theirs := audience(b, serveFloor(b, bare, grpc.ForceServerCodecV2(plainBytes{})), floorListen, request)
	bare.ready.Wait()
	var floorTook, ourTook time.Duration
	b.ResetTimer()
	for range b.N {
		kit.Record(round, stationtest.Seen("GLA-010/windscreen", "sound"))
		began := time.Now()
		everybody(ours)
		ourTook += time.Since(began)

		bytes := stateBytes(b, kit)
		began = time.Now()
		bare.fanOut(bytes)
		everybody(theirs)
		floorTook += time.Since(began)
	}
	b.ReportMetric(float64(floorTook.Microseconds())/float64(b.N)/1000, "floor-ms/change")
	b.ReportMetric(float64(ourTook.Microseconds())/float64(b.N)/1000, "ms/change")
	b.ReportMetric(float64(ourTook)/float64(floorTook), "x-floor")
	b.ReportMetric(float64(len(stateBytes(b, kit))), "B/state")
}

// stateBytes is the newest state as it goes over the wire.
func stateBytes(b *testing.B, kit *stationtest.Kit) []byte {
	b.Helper()
	resp, err := kit.GetReadiness(context.Background(), &pb.GetReadinessRequest{Vehicle: "vehicles/p1"})
	if err != nil {
		b.Fatal(err)
	}
	bytes, err := proto.Marshal(&pb.WatchReadinessResponse{Message: &pb.WatchReadinessResponse_Readiness{Readiness: resp.GetReadiness()}})
	if err != nil {
		b.Fatal(err)
	}
	return bytes
}
