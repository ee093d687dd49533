package admit_test

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"bayround/internal/admit"
	pb "bayround/proto/bayround/v1"
)

// The contract's own descriptors say what there is to call.
func TestTable_HoldsEveryMethodOfTheContractAndNothingElse(t *testing.T) {
	var want []string
	protoregistry.GlobalFiles.RangeFilesByPackage("bayround.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				want = append(want, "/"+string(service.FullName())+"/"+string(service.Methods().Get(j).Name()))
			}
		}
		return true
	})
	slices.Sort(want)
	var got []string
	for _, r := range admit.Table() {
		if strings.HasPrefix(r.Method, "/bayround.v1.") {
			got = append(got, r.Method)
		}
	}
	if !slices.Equal(got, want) {
		for _, m := range want {
			if !slices.Contains(got, m) {
				t.Errorf("%s stands in no row of the table: say who may call it", m)
			}
		}
		for _, m := range got {
			if !slices.Contains(want, m) {
				t.Errorf("%s stands in the table and not in the contract", m)
			}
		}
		t.Errorf("%d rows for %d methods", len(got), len(want))
	}
}

func TestTable_EachRowNamesSomebodyOnce(t *testing.T) {
	for i, r := range admit.Table() {
		if i > 0 && admit.Table()[i-1].Method == r.Method {
			t.Errorf("%s stands twice in the table", r.Method)
		}
		if r.Anyone == (len(r.Roles) > 0) || !slices.IsSorted(r.Roles) || len(slices.Compact(slices.Clone(r.Roles))) != len(r.Roles) {
			t.Errorf("%+v", r)
		}
	}
}

// What must never be open, whatever else the table says.
func TestMay_WhatNobodyElseMay(t *testing.T) {
	for method, only := range map[string][]pb.ClientRole{
		"/bayround.v1.VehicleService/Apply":         {pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR},
		"/bayround.v1.VehicleService/ErasePerson":   {pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR},
		"/bayround.v1.EnrolService/OpenEnrolment":   {pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR},
		"/bayround.v1.EnrolService/Admit":           {pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR},
		"/bayround.v1.EnrolService/Revoke":          {pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR},
		"/bayround.v1.TwinService/GetLibrary":       {pb.ClientRole_CLIENT_ROLE_TABLET},
		"/bayround.v1.JournalService/ExportRecord":  {pb.ClientRole_CLIENT_ROLE_TABLET, pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR},
		"/bayround.v1.RoundService/RecordResult":    {pb.ClientRole_CLIENT_ROLE_TABLET, pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR},
		"/bayround.v1.RoundService/Nothing":         nil,
		"/":                                         nil,
		"":                                          nil,
		"bayround.v1.ReadinessService/GetReadiness": nil, // without its slash
	} {
		for _, role := range append(admit.Roles(), pb.ClientRole_CLIENT_ROLE_UNSPECIFIED, 99) {
			if may := admit.May(role, method); may != slices.Contains(only, role) {
				t.Errorf("%s may call %q: %v", admit.Word(role), method, may)
			}
		}
	}
	var open []string
	for _, r := range admit.Table() {
		if admit.May(pb.ClientRole_CLIENT_ROLE_UNSPECIFIED, r.Method) {
			open = append(open, r.Method)
		}
	}
	want := []string{"/bayround.v1.EnrolService/Enrol", "/grpc.health.v1.Health/Check", "/grpc.health.v1.Health/List", "/grpc.health.v1.Health/Watch"}
	if !slices.Equal(open, want) {
		t.Errorf("open to anyone: %v, want %v", open, want)
	}
}

func TestRoleOf_IsTheInverseOfWord(t *testing.T) {
	for _, r := range admit.Roles() {
		if back, ok := admit.RoleOf(admit.Word(r)); !ok || back != r {
			t.Errorf("%v is %q, which is %v", r, admit.Word(r), back)
		}
	}
	for _, word := range []string{"", "nobody", "unspecified", "Tablet"} {
		if r, ok := admit.RoleOf(word); ok {
			t.Errorf("%q is %v", word, r)
		}
	}
}
