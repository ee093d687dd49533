package rules_test

import (
	"testing"

	pb "bayround/proto/bayround/v1"
)

// TestText: how a text is filled in. The forms are those of the contract
// (Rule.text) and of the package comment.
func TestText(t *testing.T) {
	s := step("TYR-010", "axle-1-nearside")
	for _, tc := range []struct{ text, want string }{
		{"plain", "plain"},
		{"{o.value}", "637.5"},
		{"{o.value} kPa", "637.5 kPa"},
		{"{o.value + 0.004} {o.value + 0.005001} {o.value + 0.1}", "637.5 637.51 637.6"},
		{"{1.0} {100.0} {0.0} {-0.001} {1e9} {-2.5}", "1 100 0 0 1000000000 -2.5"},
		{"{7} {7u} {size(o.faults)}", "7 7 0"},
		{"{{o.value}} is {o.value}", "{o.value} is 637.5"},
		{"}}{{", "}{"},
		{"{'a}b{c'} {\"}\"} {'''it's }'''} {r'\\'}", "a}b{c } it's } \\"},
		{"{'it\\'s }'}", "it's }"},
		{"{ {'a': 'map'}['a']}", "map"},
		{"{o.step.place.title}: {o.value < 700 ? 'soft' : 'hard'}", "axle-1-nearside: soft"},
		{"{feature(vehicle, 'pump') ? vehicle.call_sign : ''}", "WN11"},
		{"{bar(o.value)} bar, {round(psi(o.value), 0)} psi, {round(o.share_of_target * 100.0, 0)} %", "6.38 bar, 92 psi, 75 %"},
		{"{round(2.5, 0)} {round(-2.5, 0)} {round(1.25, 1)}", "3 -3 1.3"},
		{"Über {o.value}\nzweite", "Über 637.5\nzweite"},
	} {
		j := judge(t, pack(rule("text", func(r *pb.Rule) { r.Items, r.When, r.Text = []string{"TYR-010"}, "true", tc.text })))
		found := j.Result(reading(s, 1, 637.5))
		if len(found) != 1 || found[0].GetText() != tc.want {
			t.Errorf("%q gives %q, want %q", tc.text, found[0].GetText(), tc.want)
		}
	}
}
