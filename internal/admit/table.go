package admit

import (
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// table is who may call what, by method. It does not change.
var table = sorted(
	// Whoever was let in may look at vehicles and what is checked on them.
	may("VehicleService", "GetVehicle ListVehicles GetPlan GetWalk GetCatalogue ListRoutines ListGauges ListStations GetRulePack ListRulePacks", all()...),
	may("VehicleService", "ListPeople", tablet, workshop, officer, administrator), // names are no system's business
	may("VehicleService", "RecordRepair", tablet, workshop, officer, administrator),
	may("VehicleService", "Apply ErasePerson", administrator),

	may("DefectService", "GetDefect ListDefects GetDefectFigures", all()...),
	may("DefectService", "AcknowledgeDefect DeferDefect EndDeferral StopVehicle ReleaseVehicle", tablet, workshop, officer, administrator), // the station asks who the person is

	may("CallSignService", "ListCallSigns CompareVehicles", all()...),
	may("CallSignService", "MoveCallSign ReturnCallSign", tablet, officer, administrator), // the station asks who the person is

	may("ScheduleService", "ListDues ListWatches GetCalendarFeed", all()...),
	may("ScheduleService", "RecordIncident", tablet, officer, administrator),
	may("ScheduleService", "RecordWheelsFitted", tablet, workshop, officer, administrator), // the station asks who the person is
	may("ScheduleService", "ConfirmHandOver", tablet),                                      // the tablet checks both PINs, and is believed

	may("PeopleService", "HashBadge", administrator),
	may("PeopleService", "ReportLockOut ReportUnlock", tablet), // the tablet checks the PINs, and is believed

	may("RoundService", "GetRound ListRounds GetRoundContent", all()...),
	may("RoundService", "OpenRound PauseRound ResumeRound FinishRound GiveUpRound BeginStep MakeSafe ChangeAssistant RecordResult RecordResults", tablet, administrator),

	may("RoundService", "SignRound", tablet, officer, administrator), // the station asks who the person is

	may("ReadinessService", "GetReadiness ListReadiness WatchReadiness", all()...),

	may("HistoryService", "GetHistory ListForecasts Explain", all()...),
	may("HistoryService", "CheckGauge", tablet, workshop, officer, administrator),
	may("HistoryService", "RejudgeGauge Rehearse", workshop, officer, administrator), // costly

	may("StockService", "ListStock ListStockMovements", all()...),
	may("StockService", "RecordDelivery CountStock", tablet, workshop, officer, administrator), // the station asks who the person is

	may("JournalService", "Follow GetCheckpoint ProveInclusion ProveConsistency GetRecordState", all()...),
	may("JournalService", "ExportRecord OfferRecord", tablet, administrator), // whole copies, names and hashes of PINs in them

	may("PhotoService", "GetPhoto", all()...),
	may("PhotoService", "PutPhoto", tablet, administrator),

	may("TwinService", "GetLibrary GetStanding", tablet), // hashes of PINs

	anyone("/bayround.v1.EnrolService/Enrol"),
	may("EnrolService", "Renew", all()...),
	may("EnrolService", "OpenEnrolment Admit Revoke ListClients RotateAuthority RetireAuthority GetAuthority", administrator),

	// Whether the station is alive is no secret.
	anyone("/grpc.health.v1.Health/Check"),
	anyone("/grpc.health.v1.Health/List"),
	anyone("/grpc.health.v1.Health/Watch"),
	// The contract is public, but nobody needs to ask who may not call it.
	[]Rule{
		{Method: "/grpc.reflection.v1.ServerReflection/ServerReflectionInfo", Roles: all()},
		{Method: "/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo", Roles: all()},
	},
)

func all() []pb.ClientRole { return Roles() }

// may are the rules of methods of one service of the contract.
func may(service, methods string, roles ...pb.ClientRole) []Rule {
	var rules []Rule
	for method := range strings.FieldsSeq(methods) {
		rules = append(rules, Rule{Method: "/bayround.v1." + service + "/" + method, Roles: roles})
	}
	return rules
}

func anyone(method string) []Rule { return []Rule{{Method: method, Anyone: true}} }

func sorted(parts ...[]Rule) []Rule {
	rules := slices.Concat(parts...)
	slices.SortFunc(rules, func(a, b Rule) int { return strings.Compare(a.Method, b.Method) })
	return rules
}
