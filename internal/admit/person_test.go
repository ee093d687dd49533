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

// naming are the fields of a request that name who does it, as the table spells them.
// Queries, and whom a command is about, name nobody who does anything.
func naming(m protoreflect.MessageDescriptor, path string) (names []string) {
	for i := range m.Fields().Len() {
		f := m.Fields().Get(i)
		switch name := string(f.Name()); {
		case f.Kind() == protoreflect.StringKind && slices.Contains([]string{"person", "driver", "assistant", "by"}, name):
			names = append(names, path+name)
		case f.Message() != nil && !f.IsList() && slices.Contains([]string{"signature", "result", "record", "check"}, name):
			names = append(names, naming(f.Message(), path+name+".")...)
		}
	}
	return names
}

// The contract's own descriptors say which commands name somebody: each has its row,
// and every row is one of them.
func TestPersonTable_HoldsEveryCommandThatNamesSomebody(t *testing.T) {
	var want []string
	protoregistry.GlobalFiles.RangeFilesByPackage("bayround.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				m := service.Methods().Get(j)
				if strings.HasPrefix(string(m.Name()), "List") {
					continue // a query: whose it asks for
				}
				if m.Name() == "ErasePerson" { // names whom, too
					want = append(want, string(admit.Erase))
					continue
				}
				for _, field := range naming(m.Input(), "") {
					deed := string(service.Name()) + "/" + string(m.Name())
					if field != "person" {
						deed += " " + field
					}
					want = append(want, deed)
				}
			}
		}
		return true
	})
	want = append(want, string(admit.Extend))
	slices.Sort(want)
	var got []string
	for _, r := range admit.PersonTable() {
		got = append(got, string(r.Deed))
		if len(r.Roles) == 0 || !slices.IsSorted(r.Roles) || len(slices.Compact(slices.Clone(r.Roles))) != len(r.Roles) {
			t.Errorf("%s: roles %v", r.Deed, r.Roles)
		}
		if everybody := len(r.Roles) == len(admit.PersonRoles()); everybody != (r.Reason == "") || everybody != (r.Words == "") {
			t.Errorf("%s: a refusal says %q %q", r.Deed, r.Reason, r.Words)
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("in the table\n%s\nin the contract\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestPersonRoles_AreThoseOfTheContract(t *testing.T) {
	var want []pb.Role
	for n := range pb.Role_name {
		if n != 0 {
			want = append(want, pb.Role(n))
		}
	}
	slices.Sort(want)
	if got := admit.PersonRoles(); !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

// What must never be open, whatever else the table says (common practice): the workshop
// repairs, officers decide, drivers drive.
func TestPersonMay_WhatNobodyElseMay(t *testing.T) {
	driver, officer, duty, workshop := pb.Role_ROLE_DRIVER, pb.Role_ROLE_OFFICER, pb.Role_ROLE_DUTY_OFFICER, pb.Role_ROLE_WORKSHOP
	for deed, only := range map[admit.Deed][]pb.Role{
		admit.Drive: {driver}, admit.Sign: {driver}, admit.SignSecond: {officer, duty}, admit.Repair: {workshop}, admit.Acknowledge: {workshop},
		admit.Defer: {officer, duty}, admit.Extend: {duty}, admit.EndDeferral: {officer, duty, workshop}, admit.Move: {officer, duty}, admit.Return: {officer, duty},
		"": nil, "RoundService/Nothing": nil,
	} {
		for _, role := range append(admit.PersonRoles(), pb.Role_ROLE_UNSPECIFIED, 99) {
			rule, may := admit.PersonMay([]pb.Role{role}, deed)
			if may != slices.Contains(only, role) || !may && rule.Reason == "" {
				t.Errorf("%s may do %q: %t (%q)", admit.PersonWord(role), deed, may, rule.Reason)
			}
		}
		if _, may := admit.PersonMay(nil, deed); may {
			t.Errorf("somebody without a role may do %q", deed)
		}
	}
	if _, may := admit.PersonMay([]pb.Role{driver, officer}, admit.Defer); !may {
		t.Error("of several roles one is not enough")
	}
}
