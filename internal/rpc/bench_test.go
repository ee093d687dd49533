package rpc_test

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"

	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Every benchmark measures its floor in the same run, in turn with ours, and
// reports both and their ratio: the machine's own speed moves too much to
// compare figures of two runs.

// inTurn lets callers make b.N calls each of floor and ours, block by block.
func inTurn(b *testing.B, callers int, floorCall, ourCall func(caller, n int)) {
	b.Helper()
	const blocks = 10
	block := max(b.N/blocks, callers)
	var floorTook, ourTook time.Duration
	var done int
	b.ResetTimer()
	for ; done < b.N; done += block {
		floorTook += spread(callers, block, done, floorCall)
		ourTook += spread(callers, block, done, ourCall)
	}
	b.ReportMetric(float64(floorTook.Nanoseconds())/float64(done), "floor-ns/op")
	b.ReportMetric(float64(ourTook.Nanoseconds())/float64(done), "ns/op")
	b.ReportMetric(float64(ourTook)/float64(floorTook), "x-floor")
}

// spread makes calls calls from callers at once and returns how long that took.
func spread(callers, calls, first int, call func(caller, n int)) time.Duration {
	began := time.Now()
	var all sync.WaitGroup
	for caller := range callers {
		all.Go(func() {
			for n := caller; n < calls; n += callers {
				call(caller, first+n)
			}
		})
	}
	all.Wait()
	return time.Since(began)
}

func dialLean(b *testing.B, address string, options ...grpc.DialOption) *grpc.ClientConn {
	b.Helper()
	conn, err := grpc.NewClient(address, append(rpc.LeanClient(), options...)...)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = conn.Close() })
	return conn
}

func must(b *testing.B, err error) {
	if err != nil {
		b.Error(err)
	}
}

// BenchmarkGetReadiness against an empty call. Goal: at most 1.3 times.
func BenchmarkGetReadiness(b *testing.B) {
	kit := stationtest.Open(b)
	kit.RecordAll("vehicles/p1", "routines/shift")
	ours := dialLean(b, stationtest.Serve(b, kit.Station, rpc.Options{}).Address)
	bare := dialLean(b, serveFloor(b, &floor{}))
	readiness := pb.NewReadinessServiceClient(ours)
	ctx := context.Background()
	for _, callers := range []int{1, 64} {
		b.Run(fmt.Sprintf("callers=%d", callers), func(b *testing.B) {
			inTurn(b, callers,
				func(int, int) { must(b, bare.Invoke(ctx, "/floor.Floor/Call", &emptypb.Empty{}, &emptypb.Empty{})) },
				func(int, int) {
					_, err := readiness.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: "vehicles/p1"})
					must(b, err)
				})
		})
	}
}

// BenchmarkRecordResult against an empty call that flushes 512 bytes to a file
// first; callers that wait share the flush, there and here. Goal with 64
// callers: at most 1.5 times.
func BenchmarkRecordResult(b *testing.B) {
	kit := stationtest.Open(b)
	round := kit.OpenRound("vehicles/p1", "routines/shift")
	ours := dialLean(b, stationtest.Serve(b, kit.Station, rpc.Options{}).Address)
	bare := dialLean(b, serveFloor(b, &floor{syncs: newBatchFile(b)}))
	rounds := pb.NewRoundServiceClient(ours)
	ctx := context.Background()
	var ids atomic.Int64
	like := kit.Request(round, stationtest.Seen("GLA-010/windscreen", "sound"))
	for _, callers := range []int{1, 16, 64} {
		b.Run(fmt.Sprintf("callers=%d", callers), func(b *testing.B) {
			inTurn(b, callers,
				func(int, int) { must(b, bare.Invoke(ctx, "/floor.Floor/Call", &emptypb.Empty{}, &emptypb.Empty{})) },
				func(int, int) {
					req := proto.CloneOf(like)
					req.Result.ResultId = fmt.Sprintf("10000000-0000-4000-8000-%012d", ids.Add(1))
					_, err := rounds.RecordResult(ctx, req)
					must(b, err)
				})
		})
	}
}

// BenchmarkRecordResults sends one stream of results. Results for one step wait
// for each other, so no more are on their way than the small plan has steps.
func BenchmarkRecordResults(b *testing.B) {
	kit := stationtest.Open(b)
	round := kit.OpenRound("vehicles/p1", "routines/shift")
	rounds := pb.NewRoundServiceClient(dialLean(b, stationtest.Serve(b, kit.Station, rpc.Options{}).Address))
	stream, err := rounds.RecordResults(context.Background())
	if err != nil {
		b.Fatal(err)
	}
	var steps []*pb.Result
	for _, step := range kit.Plan("vehicles/p1", "routines/shift").GetSteps() {
		steps = append(steps, stationtest.Sound(step))
	}
	b.ResetTimer()
	go func() {
		for n := range b.N {
			req := kit.Request(round, steps[n%len(steps)])
			must(b, stream.Send(&pb.RecordResultsRequest{Record: req}))
		}
		must(b, stream.CloseSend())
	}()
	for range b.N {
		answer, err := stream.Recv()
		if err != nil || answer.GetRecorded() == nil {
			b.Fatalf("answer = %v, %v", answer, err)
		}
	}
	b.ReportMetric(float64(len(steps)), "steps")
}
