package station_test

import (
	"reflect"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// paged is a list, as it is asked for, and ways in which something else would be.
type paged struct {
	ask       proto.Message
	otherwise []proto.Message
}

// everyList has a row for each RPC that answers in pages.
func everyList() map[protoreflect.Name]paged {
	none := "stations/annexe"
	anyDue := []pb.DueState{pb.DueState_DUE_STATE_QUIET, pb.DueState_DUE_STATE_COMING, pb.DueState_DUE_STATE_DUE, pb.DueState_DUE_STATE_OVERDUE}
	return map[protoreflect.Name]paged{
		"ListCallSigns": {ask: &pb.ListCallSignsRequest{}},
		"ListDefects": {&pb.ListDefectsRequest{Vehicle: p1}, []proto.Message{
			&pb.ListDefectsRequest{},
			&pb.ListDefectsRequest{Vehicle: p2},
			&pb.ListDefectsRequest{Vehicle: p1, Station: home},
			&pb.ListDefectsRequest{Vehicle: p1, Reporter: "people/driver"},
			&pb.ListDefectsRequest{Vehicle: p1, Grade: pb.Grade_GRADE_MAJOR},
			&pb.ListDefectsRequest{Vehicle: p1, States: []pb.DefectState{pb.DefectState_DEFECT_STATE_OPEN}},
		}},
		"ListForecasts": {&pb.ListForecastsRequest{Station: home}, []proto.Message{&pb.ListForecastsRequest{}, &pb.ListForecastsRequest{Station: none}}},
		"ListReadiness": {&pb.ListReadinessRequest{Station: home}, []proto.Message{&pb.ListReadinessRequest{}, &pb.ListReadinessRequest{Station: none}}},
		"ListRounds": {&pb.ListRoundsRequest{Person: "people/driver"}, []proto.Message{
			&pb.ListRoundsRequest{}, &pb.ListRoundsRequest{Person: "people/other"}, &pb.ListRoundsRequest{Person: "people/driver", Vehicle: p1},
		}},
		"ListDues": {&pb.ListDuesRequest{Vehicle: p2, States: anyDue}, []proto.Message{
			&pb.ListDuesRequest{States: anyDue},
			&pb.ListDuesRequest{Vehicle: p2},
			&pb.ListDuesRequest{Vehicle: p1, States: anyDue},
			&pb.ListDuesRequest{Vehicle: p2, States: anyDue[1:]},
			&pb.ListDuesRequest{Vehicle: p2, States: anyDue, Station: home},
		}},
		"ListStock": {&pb.ListStockRequest{Station: home}, []proto.Message{
			&pb.ListStockRequest{}, &pb.ListStockRequest{Station: none}, &pb.ListStockRequest{Station: home, LowOnly: true},
		}},
		"ListStockMovements": {
			&pb.ListStockMovementsRequest{Station: home, Material: sealing},
			[]proto.Message{&pb.ListStockMovementsRequest{Station: home, Material: "valve-caps"}},
		},
		"ListVehicles":  {&pb.ListVehiclesRequest{Station: home}, []proto.Message{&pb.ListVehiclesRequest{}, &pb.ListVehiclesRequest{Station: none}}},
		"ListRoutines":  {ask: &pb.ListRoutinesRequest{}},
		"ListGauges":    {ask: &pb.ListGaugesRequest{}},
		"ListPeople":    {ask: &pb.ListPeopleRequest{}},
		"ListStations":  {ask: &pb.ListStationsRequest{}},
		"ListRulePacks": {ask: &pb.ListRulePacksRequest{}},
	}
}

// plenty is a station that has at least two of everything that is listed.
func plenty(t *testing.T) *stationtest.Kit {
	t.Helper()
	k := stationtest.Open(t)
	k.Clock.Advance(time.Minute)
	k.ApplyAltered(append(append(aLimit(""), withOccasions()...),
		"    turnout_goal_s: 80\n", `    turnout_goal_s: 80
    stocked:
      - {id: sealing-oil, title: sealing oil, unit: STOCK_UNIT_ML, items: [TYR-010]}
      - {id: valve-caps, title: valve caps, unit: STOCK_UNIT_PIECES}
`, "people:\n", `  - name: stations/annexe
    title: Annexe
    pressure_unit: bar
    tread_unit: mm
    altitude_m: 4
    reference_celsius: 15
    time_zone: Europe/London
    turnout_goal_s: 80
    minimum_crew: 4
    design_minimum_celsius: -8
people:
`, "rule_packs:\n", `rule_packs:
  - name: packs/annexe
    version: "1"
    title: Rules of the annexe
    authority: Quay
    rules:
      - id: oil-low
        scope: RULE_SCOPE_RESULT
        items: [OIL-010]
        when: o.level_below
        names_fault: OIL-010-01
        grade: GRADE_MINOR
        effect: EFFECT_NOTHING
        text: "Oil is low."
        source: {title: House rules, status: SOURCE_STATUS_SERVICE_POLICY}
`)...)
	stocks := stocked{k, t}
	stocks.deliver(1000)
	stocks.deliver(2000)
	if _, err := k.StopVehicle(ctx, &pb.StopVehicleRequest{RequestId: k.ID(), Vehicle: p1, Person: "people/driver", Reason: "smoke"}); err != nil {
		t.Fatal(err)
	}
	k.OpenRound(p2, shift)
	round := k.OpenRound(p1, shift)
	k.Record(round, stationtest.Seen("GLA-010/windscreen", "03")) // a defect beside the stop
	for week := range 20 {
		for _, step := range []string{"TYR-010/axle-1-nearside", "TYR-010/axle-1-offside"} {
			k.Record(round, stationtest.Read(step, "pressure", 850-2*float64(week)+float64(week%3), "kPa"))
		}
		k.Clock.Advance(7 * 24 * time.Hour)
	}
	return k
}

// next asks for the page of one entry that a token leads to, and returns the token after it.
func next(k *stationtest.Kit, list protoreflect.Name, ask proto.Message, size int32, token string) (string, error) {
	req := proto.Clone(ask).ProtoReflect()
	fields := req.Descriptor().Fields()
	req.Set(fields.ByName("page_size"), protoreflect.ValueOfInt32(size))
	req.Set(fields.ByName("page_token"), protoreflect.ValueOfString(token))
	answer := reflect.ValueOf(k.Station).MethodByName(string(list)).Call([]reflect.Value{reflect.ValueOf(ctx), reflect.ValueOf(req.Interface())})
	if err, failed := answer[1].Interface().(error); failed {
		return "", err
	}
	return answer[0].Interface().(interface{ GetNextPageToken() string }).GetNextPageToken(), nil
}

// Source: google.aip.dev/158: "When an API user provides a page_token, all other arguments
// must be the same as in the previous call; if they are different, the service should send
// an INVALID_ARGUMENT error"; page_size alone may change.
func TestLists_APageTokenIsOfWhatWasAskedForAlone(t *testing.T) {
	k, lists := plenty(t), everyList()
	protoregistry.GlobalFiles.RangeFilesByPackage("bayround.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			for methods, j := file.Services().Get(i).Methods(), 0; j < methods.Len(); j++ {
				m := methods.Get(j)
				if _, known := lists[m.Name()]; !known && m.Input().Fields().ByName("page_token") != nil {
					t.Errorf("%s answers in pages and has no row here", m.Name())
				}
			}
		}
		return true
	})
	wrong := refusal{fault.Invalid, "PAGE_TOKEN_OF_OTHER_LIST"}
	for list, of := range lists {
		token, err := next(k, list, of.ask, 1, "")
		if err != nil || token == "" {
			t.Fatalf("%s: the first page leads to %q, %v; want a token", list, token, err)
		}
		for _, size := range []int32{1, 7} {
			if _, err := next(k, list, of.ask, size, token); err != nil {
				t.Errorf("%s, the next %d: %v", list, size, err)
			}
		}
		for _, otherwise := range of.otherwise {
			_, err := next(k, list, otherwise, 1, token)
			wrong.check(t, err)
			if err == nil {
				t.Errorf("%s: a token of %v leads to %v", list, of.ask, otherwise)
			}
		}
		for other, its := range lists {
			if other == list {
				continue
			}
			_, err := next(k, other, its.ask, 1, token)
			wrong.check(t, err)
		}
	}
}
