package admit

import (
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// Deed is what a command says that a person does: a method of the contract, and the
// field of its request that names the person where that is not "person".
type Deed string

// The deeds. What is none of them nobody may do.
const (
	Drive       Deed = "RoundService/OpenRound driver"
	Assist      Deed = "RoundService/OpenRound assistant"
	TakeOver    Deed = "RoundService/ChangeAssistant assistant"
	Look        Deed = "RoundService/RecordResult result.person"
	LookStream  Deed = "RoundService/RecordResults record.result.person"
	Sign        Deed = "RoundService/FinishRound signature.person"
	SignSecond  Deed = "RoundService/SignRound signature.person"
	Repair      Deed = "VehicleService/RecordRepair"
	Erase       Deed = "VehicleService/ErasePerson by"
	Acknowledge Deed = "DefectService/AcknowledgeDefect"
	Defer       Deed = "DefectService/DeferDefect"
	EndDeferral Deed = "DefectService/EndDeferral"
	Stop        Deed = "DefectService/StopVehicle"
	Release     Deed = "DefectService/ReleaseVehicle"
	Move        Deed = "CallSignService/MoveCallSign"
	Return      Deed = "CallSignService/ReturnCallSign"
	Incident    Deed = "ScheduleService/RecordIncident"
	FitWheels   Deed = "ScheduleService/RecordWheelsFitted"
	Unlock      Deed = "PeopleService/ReportUnlock"
	CheckGauge  Deed = "HistoryService/CheckGauge check.person"
	Deliver     Deed = "StockService/RecordDelivery"
	Count       Deed = "StockService/CountStock"

	// Extend is DeferDefect beyond the interval that the rules give.
	Extend Deed = "DefectService/DeferDefect beyond its interval"
)

// PersonRule says who may do one deed.
type PersonRule struct {
	Deed Deed
	// Roles of which the person needs one, in the order of their numbers.
	Roles []pb.Role
	// Reason of a refusal, for programs; Words say why, after the person's name.
	Reason, Words string
}

// PersonRoles are all roles that a person can have, in the order of their numbers.
func PersonRoles() []pb.Role {
	return []pb.Role{
		pb.Role_ROLE_DRIVER, pb.Role_ROLE_OFFICER, pb.Role_ROLE_DUTY_OFFICER, pb.Role_ROLE_WORKSHOP, pb.Role_ROLE_CONTROL, pb.Role_ROLE_ADMINISTRATOR,
	}
}

// PersonWord is a role of a person in words: driver, officer, duty officer, workshop, control, administrator.
func PersonWord(r pb.Role) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(r.String(), "ROLE_"), "_", " "))
}

// PersonTable is the whole table, by deed.
func PersonTable() []PersonRule { return slices.Clone(people) }

// PersonMay tells whether somebody with these roles may do a deed, and otherwise by
// which rule not; the rule of what nobody may is an empty one.
func PersonMay(roles []pb.Role, deed Deed) (PersonRule, bool) {
	i, found := slices.BinarySearchFunc(people, deed, func(r PersonRule, d Deed) int { return strings.Compare(string(r.Deed), string(d)) })
	if !found {
		return PersonRule{Deed: deed, Reason: "DEED_UNKNOWN", Words: "may not do this; nobody may"}, false
	}
	return people[i], slices.ContainsFunc(people[i].Roles, func(r pb.Role) bool { return slices.Contains(roles, r) })
}

// people is who may do what, by deed. It does not change.
var people = sortedDeeds(
	PersonRule{Drive, []pb.Role{pb.Role_ROLE_DRIVER}, "NOT_A_DRIVER", "is not a nominated driver; a driver carries out a round"},
	PersonRule{Sign, []pb.Role{pb.Role_ROLE_DRIVER}, "NOT_A_DRIVER", "is not a nominated driver; a driver signs what a driver has done"},
	PersonRule{Assist, crew(), "NOT_OF_THE_STATION", "is not of the crew or the workshop; choose who stands at the vehicle"},
	PersonRule{TakeOver, crew(), "NOT_OF_THE_STATION", "is not of the crew or the workshop; choose who stands at the vehicle"},
	PersonRule{Deed: Look, Roles: PersonRoles()}, // what somebody saw counts, whoever it was
	PersonRule{Deed: LookStream, Roles: PersonRoles()},
	PersonRule{SignSecond, officers(), "NOT_OFFICER", "is no officer; the second signature is that of an officer in charge"},

	PersonRule{Unlock, officers(), "NOT_OFFICER", "is no officer; an officer in charge, or the duty officer, lets in again who was locked out"},
	PersonRule{Deed: Stop, Roles: PersonRoles()}, // anybody, alone and at once
	PersonRule{Release, crew(), "NOT_OF_THE_STATION", "is not of the crew or the workshop; who has checked the vehicle again releases it"},
	PersonRule{Acknowledge, workshops(), "NOT_WORKSHOP", "is not of the workshop; the workshop answers who reported a defect"},
	PersonRule{Repair, workshops(), "NOT_WORKSHOP", "is not of the workshop; a repair is recorded by who is"},
	PersonRule{Defer, officers(), "NOT_OFFICER", "is no officer; an officer in charge, or the duty officer, decides what may wait"},
	PersonRule{Extend, []pb.Role{pb.Role_ROLE_DUTY_OFFICER}, "NOT_DUTY_OFFICER", "is not the duty officer; only the duty officer extends an interval"},
	PersonRule{EndDeferral, append(officers(), pb.Role_ROLE_WORKSHOP), "NOT_OFFICER", "is neither officer nor of the workshop; they may end a deferral"},
	PersonRule{Move, officers(), "NOT_OFFICER", "is no officer; an officer in charge, or the duty officer, decides who takes a place"},
	PersonRule{Return, officers(), "NOT_OFFICER", "is no officer; an officer in charge, or the duty officer, decides who takes a place"},
	PersonRule{CheckGauge, crew(), "NOT_OF_THE_STATION", "is not of the crew or the workshop; who has compared the gauge records it"},
	PersonRule{Deliver, crew(), "NOT_OF_THE_STATION", "is not of the crew or the workshop; who has the material before them records it"},
	PersonRule{Count, crew(), "NOT_OF_THE_STATION", "is not of the crew or the workshop; who has the material before them records it"},
	PersonRule{FitWheels, crew(), "NOT_OF_THE_STATION", "is not of the crew or the workshop; who fitted the wheels records it"},
	PersonRule{Deed: Incident, Roles: PersonRoles()}, // it makes a check due, and whoever knows of it says so
	PersonRule{Erase, []pb.Role{pb.Role_ROLE_ADMINISTRATOR}, "NOT_ADMINISTRATOR", "is no administrator; who keeps the station's people erases one of them"},
)

func officers() []pb.Role {
	return []pb.Role{pb.Role_ROLE_OFFICER, pb.Role_ROLE_DUTY_OFFICER}
}

func workshops() []pb.Role { return []pb.Role{pb.Role_ROLE_WORKSHOP} }

// crew are all who can stand at a vehicle: not the control room.
func crew() []pb.Role {
	return slices.DeleteFunc(PersonRoles(), func(r pb.Role) bool { return r == pb.Role_ROLE_CONTROL })
}

func sortedDeeds(rules ...PersonRule) []PersonRule {
	slices.SortFunc(rules, func(a, b PersonRule) int { return strings.Compare(string(a.Deed), string(b.Deed)) })
	return rules
}
