package rpc

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/png"
	"io"
	"log/slog"
	"net"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/photo"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// method is one rpc of the contract.
type method struct {
	name         string // as on the wire, /bayround.v1.RoundService/OpenRound
	in, out      protoreflect.MessageType
	fromCaller   bool // the caller streams
	fromStation  bool // the station streams
	sampleOfCall proto.Message
}

// methods are all rpcs of the contract, as its descriptors list them.
func methods(t testing.TB) []method {
	t.Helper()
	var all []method
	protoregistry.GlobalFiles.RangeFilesByPackage("bayround.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				m := service.Methods().Get(j)
				all = append(all, method{
					name: "/" + string(service.FullName()) + "/" + string(m.Name()),
					in:   messageType(t, m.Input()), out: messageType(t, m.Output()),
					fromCaller: m.IsStreamingClient(), fromStation: m.IsStreamingServer(),
					sampleOfCall: sample(t, m.Input().Name()),
				})
			}
		}
		return true
	})
	slices.SortFunc(all, func(a, b method) int { return strings.Compare(a.name, b.name) })
	return all
}

// oneCall is any method with one request and one answer.
func oneCall(t testing.TB) method {
	t.Helper()
	for _, m := range methods(t) {
		if !m.fromCaller && !m.fromStation {
			return m
		}
	}
	t.Fatal("no unary method")
	return method{}
}

func messageType(t testing.TB, d protoreflect.MessageDescriptor) protoreflect.MessageType {
	t.Helper()
	mt, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
	if err != nil {
		t.Fatal(err)
	}
	return mt
}

// sample is a request that keeps every rule of the proto, with every field set
// that can be at once.
func sample(t testing.TB, name protoreflect.Name) proto.Message {
	t.Helper()
	conditions := &pb.RoundConditions{EngineStopped: timestamppb.New(time.Date(2026, 2, 2, 19, 0, 0, 0, time.UTC)), AmbientCelsius: proto.Float64(6)}
	const round, vehicle = "rounds/00000000-0000-4000-8000-000000000001", "vehicles/wn11"
	id := uuid(2)
	samples := []proto.Message{
		&pb.ApplyRequest{RequestId: id, Files: []*pb.NamedFile{{FileName: "a.yaml", Content: []byte("stations: []\n")}}, ValidateOnly: true},
		&pb.GetVehicleRequest{Name: vehicle, Revision: 1},
		&pb.OpenEnrolmentRequest{Device: "tablet-9"},
		&pb.EnrolRequest{Device: "tablet-9", CertificateRequest: []byte{0x30}, Mac: make([]byte, 32)},
		&pb.RenewRequest{CertificateRequest: []byte{0x30}},
		&pb.AdmitRequest{Name: "control", Role: pb.ClientRole_CLIENT_ROLE_SYSTEM, CertificateRequest: []byte{0x30}},
		&pb.RevokeRequest{Name: "tablet-9", Reason: "lost"},
		&pb.ListClientsRequest{},
		&pb.RotateAuthorityRequest{Overlap: durationpb.New(24 * time.Hour)},
		&pb.RetireAuthorityRequest{},
		&pb.GetAuthorityRequest{},
		&pb.ListVehiclesRequest{PageSize: 10, Station: "stations/skarholm-quay"},
		&pb.GetPlanRequest{Vehicle: vehicle, Routine: "routines/shift", WithItems: []string{"LMP-010"}},
		&pb.GetWalkRequest{
			Vehicle: vehicle, Routine: "routines/shift", Alone: true, Done: []string{"PRE-010/front"}, AtStep: "PRE-020/engine-flap",
			WithinS: 300, EngineWarm: true, WithNaive: true, WithItems: []string{"LMP-010"},
		},
		&pb.GetCatalogueRequest{},
		&pb.ListRoutinesRequest{PageSize: 10},
		&pb.ListGaugesRequest{PageSize: 10},
		&pb.ListPeopleRequest{PageSize: 10},
		&pb.ErasePersonRequest{RequestId: id, Person: "people/arkwith", By: "people/venholt", Reason: "left the service"},
		&pb.ListStationsRequest{PageSize: 10},
		&pb.GetRulePackRequest{Name: "packs/gb-use"},
		&pb.ListRulePacksRequest{PageSize: 10},
		&pb.RecordRepairRequest{RequestId: id, Defect: vehicle + "/defects/3f2a9c", Person: "people/steddow", Done: "valve renewed", Parts: []string{"valve, rear nearside"}, Wheels: []string{"axle-1-nearside"}, OdometerKm: proto.Float64(48_210), DoneBy: "Quay Tyres"},
		&pb.GetDefectRequest{Name: vehicle + "/defects/3f2a9c"},
		&pb.ListDefectsRequest{
			PageSize: 10, Vehicle: vehicle, States: []pb.DefectState{pb.DefectState_DEFECT_STATE_DEFERRED}, Grade: pb.Grade_GRADE_MAJOR, Reporter: "people/arkwith", Station: "stations/skarholm-quay",
		},
		&pb.AcknowledgeDefectRequest{RequestId: id, Defect: vehicle + "/defects/3f2a9c", Person: "people/steddow", Planned: timestamppb.New(time.Date(2026, 2, 5, 19, 0, 0, 0, time.UTC)), Note: "glass is ordered"},
		&pb.DeferDefectRequest{
			RequestId: id, Defect: vehicle + "/defects/3f2a9c", Person: "people/osgarry", Reason: "glass comes on Thursday",
			Restrictions: []*pb.Restriction{{Kind: pb.RestrictionKind_RESTRICTION_KIND_WEATHER, Text: "not in rain"}},
			Until:        timestamppb.New(time.Date(2026, 2, 5, 19, 0, 0, 0, time.UTC)), TogetherWith: []string{vehicle + "/defects/4a"},
		},
		&pb.EndDeferralRequest{RequestId: id, Defect: vehicle + "/defects/3f2a9c", Person: "people/osgarry", Because: "the chip has grown"},
		&pb.StopVehicleRequest{RequestId: id, Vehicle: vehicle, Person: "people/arkwith", Reason: "it pulls to the left", StepIds: []string{"BRK-010/cab"}, Device: "tablet-1"},
		&pb.ReleaseVehicleRequest{RequestId: id, Defect: vehicle + "/defects/stop-1", Person: "people/venholt", Checked: "brakes tried in the yard"},
		&pb.GetDefectFiguresRequest{Vehicle: vehicle, Station: "stations/skarholm-quay", Since: timestamppb.New(time.Date(2026, 2, 2, 19, 0, 0, 0, time.UTC))},
		&pb.ListDuesRequest{PageSize: 10, Vehicle: vehicle, Station: "stations/skarholm-quay", States: []pb.DueState{pb.DueState_DUE_STATE_OVERDUE}},
		&pb.ListWatchesRequest{Station: "stations/skarholm-quay", From: timestamppb.New(time.Date(2026, 2, 2, 19, 0, 0, 0, time.UTC)), Until: timestamppb.New(time.Date(2026, 2, 3, 19, 0, 0, 0, time.UTC))},
		&pb.GetCalendarFeedRequest{Station: "stations/skarholm-quay", Days: 14},
		&pb.HashBadgeRequest{Badge: "WN-0012345"},
		&pb.ReportLockOutRequest{RequestId: id, Locked: "people/arkwith", Failures: 10, Device: "tablet-1", DeviceTime: timestamppb.New(time.Date(2026, 2, 2, 19, 0, 0, 0, time.UTC))},
		&pb.ReportUnlockRequest{RequestId: id, Unlocked: "people/arkwith", Person: "people/osgarry", Device: "tablet-1", DeviceTime: timestamppb.New(time.Date(2026, 2, 2, 19, 5, 0, 0, time.UTC))},
		&pb.ConfirmHandOverRequest{
			RequestId: id, Round: round, OffGoing: "people/arkwith", OnComing: "people/venholt", TextSha256: make([]byte, 32), Device: "tablet-1",
			OffGoingConfirmed: timestamppb.New(time.Date(2026, 2, 2, 19, 0, 0, 0, time.UTC)), OnComingConfirmed: timestamppb.New(time.Date(2026, 2, 2, 19, 1, 0, 0, time.UTC)),
		},
		&pb.RecordWheelsFittedRequest{RequestId: id, Vehicle: vehicle, Person: "people/steddow", Wheels: []string{"axle-1-nearside"}, OdometerKm: proto.Float64(48_210), Note: "tyre changed", Device: "tablet-1"},
		&pb.RecordIncidentRequest{RequestId: id, Vehicle: vehicle, Person: "people/arkwith", Returned: timestamppb.New(time.Date(2026, 2, 2, 19, 0, 0, 0, time.UTC)), Note: "barn", Device: "tablet-1", Used: []string{"pump"}},
		&pb.OpenRoundRequest{
			Round: round, Vehicle: vehicle, Routine: "routines/shift", Driver: "people/arkwith",
			Assistant: "people/venholt", Device: "tablet-1", Conditions: conditions, WithItems: []string{"LMP-010"},
		},
		&pb.GetRoundRequest{Name: round},
		&pb.ListRoundsRequest{PageSize: 10, Vehicle: vehicle, Person: "people/driver", Defect: vehicle + "/defects/3f2a9c", AwaitingOfficer: true},
		&pb.PauseRoundRequest{RequestId: id, Round: round, Note: "turnout"},
		&pb.ResumeRoundRequest{RequestId: id, Round: round, Conditions: conditions},
		&pb.FinishRoundRequest{RequestId: id, Round: round, Note: "nothing found"},
		&pb.GetRoundContentRequest{Name: round},
		&pb.SignRoundRequest{
			RequestId: id, Round: round, Shown: &pb.ShownToSigner{
				Verdict: pb.Verdict_VERDICT_FIT, Reasons: []string{"nothing"}, Findings: []*pb.ShownFinding{{Rule: "lamp"}},
			},
			Signature: &pb.Signature{
				Person: "people/osgarry", SignedAs: pb.Role_ROLE_OFFICER, Device: "tablet-1", DeviceTime: timestamppb.New(time.Date(2026, 2, 2, 19, 0, 0, 0, time.UTC)),
				Proof: pb.Proof_PROOF_PIN, StatementSha256: make([]byte, 32),
			},
		},
		&pb.GiveUpRoundRequest{RequestId: id, Round: round, Note: "relieved"},
		&pb.ChangeAssistantRequest{RequestId: id, Round: round, Assistant: "people/venholt"},
		&pb.BeginStepRequest{RequestId: id, Round: round, StepId: "HVE-020/charge-flap"},
		&pb.MakeSafeRequest{RequestId: id, Round: round, StepIds: []string{"HVE-020/charge-flap"}},
		&pb.RecordResultRequest{Round: round, Result: fullResult(t)},
		&pb.RecordResultsRequest{Record: &pb.RecordResultRequest{Round: round, Result: fullResult(t)}},
		&pb.GetReadinessRequest{Vehicle: vehicle, AsOf: timestamppb.New(time.Date(2026, 2, 2, 19, 0, 0, 0, time.UTC))},
		&pb.ListReadinessRequest{PageSize: 10, Station: "stations/skarholm-quay"},
		&pb.WatchReadinessRequest{Vehicles: []string{vehicle}, CallSigns: []string{"WN12"}},
		&pb.ListCallSignsRequest{PageSize: 10},
		&pb.CompareVehiclesRequest{Vehicle: "vehicles/wn90", InsteadOf: "vehicles/wn12"},
		&pb.MoveCallSignRequest{RequestId: id, CallSign: "WN12", Vehicle: "vehicles/wn90", Person: "people/osgarry", Reason: "rear-steer lamp", ControlTold: true},
		&pb.ReturnCallSignRequest{RequestId: id, CallSign: "WN12", Person: "people/osgarry", Reason: "lamp renewed", ControlTold: true},
		&pb.FollowRequest{IncludeRecords: true, StopAtEnd: true},
		&pb.GetCheckpointRequest{},
		&pb.ProveInclusionRequest{Sequence: 1},
		&pb.ProveConsistencyRequest{KnownCheckpoint: "a\n1\nb\n", Device: "tablet-1"},
		&pb.ExportRecordRequest{FirstSequence: 1},
		&pb.OfferRecordRequest{Part: &pb.RecordPart{Part: &pb.RecordPart_Seal{Seal: &pb.RecordSeal{Checkpoint: "a"}}}, Device: "tablet-1"},
		&pb.GetRecordStateRequest{},
		&pb.ErasePersonRequest{RequestId: id, Person: "people/arkwith", By: "people/steddow", Reason: "asked for"},
		&pb.GetLibraryRequest{KnownDigest: strings.Repeat("0a", 32)},
		&pb.GetStandingRequest{Vehicle: vehicle},
		&pb.GetHistoryRequest{Vehicle: vehicle, StepId: "FLU-010/oil", Since: timestamppb.New(time.Date(2026, 2, 2, 19, 0, 0, 0, time.UTC))},
		&pb.ListForecastsRequest{PageSize: 10, Station: "stations/skarholm-quay"},
		&pb.ExplainRequest{Vehicle: vehicle, FindingId: strings.Repeat("0a", 16)},
		&pb.CheckGaugeRequest{RequestId: id, Gauge: "gauges/g-03", Check: &pb.GaugeCheck{
			Person: "people/arkwith", Reference: "test bench", Shown: 802, ReferenceValue: 800, Note: "as found",
		}},
		&pb.RejudgeGaugeRequest{Gauge: "gauges/g-03"},
		&pb.RehearseRequest{Files: []*pb.NamedFile{{FileName: "a.yaml", Content: []byte("rule_packs: [{name: packs/gb-use, version: \"1\", title: use, authority: GB}]\n")}}},
		&pb.ListStockRequest{PageSize: 10, Station: "stations/skarholm-quay"},
		&pb.ListStockMovementsRequest{PageSize: 10, Station: "stations/skarholm-quay", Material: "engine-oil"},
		&pb.RecordDeliveryRequest{RequestId: id, Station: "stations/skarholm-quay", Material: "engine-oil", Person: "people/arkwith", AmountMlOrPieces: 20_000, Note: "delivery"},
		&pb.CountStockRequest{RequestId: id, Station: "stations/skarholm-quay", Material: "engine-oil", Person: "people/arkwith", AmountMlOrPieces: 20_000, Device: "tablet-1"},
		&pb.PutPhotoRequest{Sha256: photo.Sum(onePixel(t)), Content: onePixel(t)},
		&pb.GetPhotoRequest{Sha256: photo.Sum(onePixel(t))},
	}
	for _, s := range samples {
		if s.ProtoReflect().Descriptor().Name() == name {
			return s
		}
	}
	t.Fatalf("no sample of %s: add one", name)
	return nil
}

// fullResult is a result with every list filled.
func fullResult(t testing.TB) *pb.Result {
	t.Helper()
	r := soundResult(2, "FLU-010/oil").GetRecord().GetResult()
	r.Answer = &pb.Result_Level{Level: &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BETWEEN, Fraction: 0.5}}
	r.AlsoSeen = []*pb.ConditionSeen{{Condition: "05"}}
	r.Photos = []string{photo.Sum(onePixel(t))}
	return r
}

// onePixel is the smallest photo.
func onePixel(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 1, 1))); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// call makes one call with one request and returns the error it ended with; of a
// stream it hears the first message only.
func (m method) call(ctx context.Context, conn *grpc.ClientConn, req proto.Message) error {
	return m.send(ctx, conn, req, m.out.New().Interface())
}

// callRaw does the same with bytes that stand for the request.
func (m method) callRaw(ctx context.Context, conn *grpc.ClientConn, req []byte) error {
	return m.send(ctx, conn, req, nil, grpc.ForceCodecV2(raw{}))
}

func (m method) send(ctx context.Context, conn *grpc.ClientConn, req, resp any, options ...grpc.CallOption) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ClientStreams: m.fromCaller, ServerStreams: m.fromStation}, m.name, options...)
	if err != nil {
		return err
	}
	if err := stream.SendMsg(req); err != nil {
		return stream.RecvMsg(resp) // knows why
	}
	if err := stream.CloseSend(); err != nil {
		return err
	}
	if err := stream.RecvMsg(resp); !errors.Is(err, io.EOF) { // a stream may end without a word
		return err
	}
	return nil
}

// openStation opens an empty station in a directory of the test's own.
func openStation(t testing.TB) *station.Station {
	t.Helper()
	st, err := station.Open(t.Context(), station.Options{Dir: t.TempDir(), Now: time.Now, Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := st.Close(); err != nil {
			t.Errorf("closing the station: %v", err)
		}
	})
	return st
}

// serve serves a station until the test ends, with further options of gRPC, and
// returns a plain connection to it: errors on it are statuses as any client sees them.
func serve(t testing.TB, st *station.Station, o Options, further ...grpc.ServerOption) (*Server, *grpc.ClientConn) {
	t.Helper()
	server, err := newServer(st, o, further...)
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	t.Cleanup(func() {
		server.Stop(context.Background())
		if err := <-served; err != nil {
			t.Errorf("serving: %v", err)
		}
	})
	return server, dialPlain(t, listener.Addr().String())
}

func dialPlain(t testing.TB, address string) *grpc.ClientConn {
	t.Helper()
	conn, err := grpc.NewClient(address, leanClient()...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}
