package main

import (
	"math"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

func TestGauge_ListsComparesAndSaysWhatReadingsAreWorth(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	requireIn(t, must(t, "gauge", "list"), "GAUGE", "CALIBRATION DUE", "g-03", "G-03 tyre gauge", "never", "in date")

	check := []string{"gauge", "check", "g-03", "--reference-value", "8.40bar", "--reference", "gauges/g-07", "--person", "steddow"}
	requireIn(t, must(t, append(check, "--shown", "8.41 bar")...), "recorded as event ", "in date")
	requireIn(t, must(t, append(check, "--shown", "8.68bar")...), "found wrong: 0.28 bar too high, since some time after ")
	requireIn(t, must(t, "gauge", "list"), "found wrong: 0.28 bar too high")

	for _, tc := range []struct {
		why  string
		args []string
		code int
		says string
	}{
		{"no unit", append(check, "--shown", "8.68"), command.ExitMisused, "8.4bar"},
		{"another quantity", append(check, "--shown", "8.68 mm"), command.ExitMisused, "--shown"},
		{"nothing said", []string{"gauge", "check", "g-03"}, command.ExitMisused, "--reference-value"},
		{"no gauge", []string{"gauge", "check"}, command.ExitMisused, "name one gauge"},
		{"a gauge nobody knows", []string{"gauge", "check", "g-99", "--shown", "1bar", "--reference-value", "1bar", "--reference", "x", "--person", "steddow"}, command.ExitRefused, "g-99"},
		{"a person nobody knows", append(check, "--shown", "8.4bar", "--person", "nobody"), command.ExitRefused, "nobody"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			got := do(t, tc.args...)
			if got.code != tc.code {
				t.Errorf("exit code %d, want %d\n%s", got.code, tc.code, got.err)
			}
			requireIn(t, got.err, tc.says)
		})
	}
}

func TestGaugeState_SaysWhatReadingsAreWorth(t *testing.T) {
	now := time.Date(2026, 2, 3, 12, 0, 0, 0, time.Local)
	in := func(days int) *timestamppb.Timestamp { return timestamppb.New(now.AddDate(0, 0, days)) }
	pressure := pb.Quantity_QUANTITY_PRESSURE
	for _, tc := range []struct {
		gauge *pb.Gauge
		want  string
	}{
		{&pb.Gauge{CalibrationDue: in(10)}, "in date"},
		{&pb.Gauge{CalibrationDue: in(-2)}, "overdue since 1 Feb 2026"},
		{&pb.Gauge{}, "overdue: nobody knows when it must be calibrated"},
		{&pb.Gauge{Withdrawn: true, CalibrationDue: in(-2)}, "withdrawn"},
		{&pb.Gauge{CalibrationDue: in(10), Checks: []*pb.GaugeCheck{{StationTime: in(-1), Good: true}}}, "in date"},
		{
			&pb.Gauge{Quantity: pressure, CalibrationDue: in(10), Checks: []*pb.GaugeCheck{{StationTime: in(-9), Shown: 800, ReferenceValue: 830}}},
			"found wrong: 0.3 bar too low, since for as long as it was used",
		},
		{
			&pb.Gauge{Quantity: pressure, CalibrationDue: in(10), Checks: []*pb.GaugeCheck{
				{StationTime: in(-70), Good: true}, {StationTime: in(-9), Shown: 868, ReferenceValue: 840},
			}},
			"found wrong: 0.28 bar too high, since some time after Tue 25 Nov 2025 12:00",
		},
	} {
		if got := gaugeState(tc.gauge, now); got != tc.want {
			t.Errorf("%v: %q, want %q", tc.gauge, got, tc.want)
		}
	}
}

func TestTypedAs_ReadsNumberAndUnit(t *testing.T) {
	for _, tc := range []struct {
		text string
		of   pb.Quantity
		want float64
	}{
		{"8.4bar", pb.Quantity_QUANTITY_PRESSURE, 840},
		{" 8.4 bar ", pb.Quantity_QUANTITY_PRESSURE, 840},
		{"4in/32", pb.Quantity_QUANTITY_LENGTH, 3.175},
		{"-7degC", pb.Quantity_QUANTITY_TEMPERATURE, -7},
	} {
		got, err := typedAs(tc.text, tc.of)
		if err != nil || math.Abs(got-tc.want) > 1e-9 {
			t.Errorf("%q is %g (%v), want %g", tc.text, got, err, tc.want)
		}
	}
	for _, text := range []string{"", "bar", "8.4", "1.2.3 bar", "8.4 parsec"} {
		if got, err := typedAs(text, pb.Quantity_QUANTITY_PRESSURE); err == nil {
			t.Errorf("%q is read as %g", text, got)
		}
	}
}
