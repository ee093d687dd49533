package command_test

import (
	"bytes"
	"slices"
	"testing"

	"bayround/internal/command"
	"bayround/internal/fault"
)

// Who is refused reads what was typed; that fields of requests are called as they are here
// says proto/bayround/v1.
func TestTell_NamesWhatWasTyped(t *testing.T) {
	for _, tc := range []struct {
		use, path string
		flags     []string
		want      string
	}{
		{"acknowledge DEFECT", "planned", []string{"planned", "person"}, "--planned"},
		{"check GAUGE", "check.reference_value", []string{"reference", "reference-value"}, "--reference-value"},
		{"check GAUGE", "gauge", []string{"reference"}, "GAUGE"},
		{"wheel VEHICLE WHEEL...", "wheels[2]", []string{"odometer"}, "WHEEL"},
		{"wheel VEHICLE WHEEL...", "odometer_km", []string{"odometer"}, "--odometer"},
		{"count STATION MATERIAL AMOUNT", "amount_ml_or_pieces", []string{"person"}, "AMOUNT"},
		{"records", "page_size", []string{"page", "limit"}, "--limit"},
		{"records", "opened_from", []string{"from", "to"}, "--from"},
		{"move CALL-SIGN", "call_sign", []string{"to"}, "CALL-SIGN"},
		{"move CALL-SIGN", "vehicle", []string{"to"}, "--to"},
		{"show DEFECT", "name", nil, "DEFECT"},
		{"play ROUND.yaml…", "result.value", []string{"key"}, "result.value"},
		{"stop VEHICLE", "request_id", []string{"step"}, "request_id"},
	} {
		var complaints bytes.Buffer
		c := &command.Console{Err: &complaints, Line: command.Line{Use: tc.use, HasFlag: func(name string) bool { return slices.Contains(tc.flags, name) }}}
		c.Tell(fault.New(fault.Invalid, "R", "the request is not right: %s must rise (and 1 more)", tc.path).At(tc.path, "must rise").At("z", "too"))
		if want := "the request is not right: " + tc.want + " must rise (and 1 more)\n  " + tc.want + ": must rise\n  z: too\n"; complaints.String() != want {
			t.Errorf("%s, %s: said %q, want %q", tc.use, tc.path, complaints.String(), want)
		}
	}
}
