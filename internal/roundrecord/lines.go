package roundrecord

import (
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/catalogue"
	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// units are the columns that hold a number in the unit of their name, by the unit as
// package catalogue spells it. The order is part of the format: new ones come last.
var units = []struct{ unit, column string }{
	{"kPa", "value_kpa"},
	{"kPa/min", "value_kpa_per_min"},
	{"mm", "value_mm"},
	{"V", "value_v"},
	{"degC", "value_celsius"},
	{"K", "value_k"},
	{"s", "value_s"},
	{"1", "value_share_or_count"},
	{"km", "value_km"},
	{"h", "value_h"},
	{"d", "value_d"},
	{"a", "value_years"},
	{"kg", "value_kg"},
	{"L", "value_l"},
	{"L/min", "value_l_per_min"},
	{"deg", "value_deg"},
	{"A", "value_a"},
	{"1/min", "value_per_min"},
}

// line is one line of an export: cells by the names of their columns. A cell that is
// not there has nothing to say; a number is a float64 or an int64, all else a string.
type line map[string]any

// Columns are the names of all columns, in order. A number stands in a column whose
// name says its unit; times are UTC as in RFC 3339.
func Columns() []string {
	names := []string{
		"round", "vehicle", "routine", "driver", "assistant", "sequence", "recorded_at_utc", "looked_at_utc", "looked_s",
		"person", "device", "step_id", "title", "limit", "answer", "part", "across_share", "as_typed", "as_typed_unit",
	}
	for _, u := range units {
		names = append(names, u.column)
	}
	return append(names, "level_mark", "level_share", "condition", "affected_count", "of_count", "not_checked_reason",
		"gauge", "gauge_overdue", "air_celsius", "outcome", "findings", "put_right", "superseded_by_sequence", "correction", "note", "sent_by", "sent_by_role", "sent_by_certificate_sha256")
}

// WriteCSV writes one line for each value that was recorded, and one for each step
// that was answered without one, as in RFC 4180, a line of column names first. A text
// that a spreadsheet would take for a formula has an apostrophe before it.
func WriteCSV(w io.Writer, records ...*Record) error {
	out := csv.NewWriter(w)
	names := Columns()
	if err := out.Write(names); err != nil {
		return err
	}
	for _, r := range records {
		for _, l := range r.lines() {
			row := make([]string, len(names))
			for i, name := range names {
				row[i] = cell(l[name])
			}
			if err := out.Write(row); err != nil {
				return err
			}
		}
	}
	out.Flush()
	return out.Error()
}

// WriteJSONL writes the same lines as JSON objects, one a line; what has nothing to say is left out.
func WriteJSONL(w io.Writer, records ...*Record) error {
	out := json.NewEncoder(w)
	for _, r := range records {
		for _, l := range r.lines() {
			if err := out.Encode(l); err != nil {
				return err
			}
		}
	}
	return nil
}

// cell is a value as a cell of CSV.
func cell(value any) string {
	switch v := value.(type) {
	case nil:
		return ""
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case string:
		if first, _ := utf8.DecodeRuneInString(v); v != "" && (unicode.IsControl(first) || strings.ContainsRune(formula, first)) {
			return "'" + v // a spreadsheet would work it out
		}
		return v
	}
	return fmt.Sprint(value)
}

// formula are the characters with which a formula begins, as wide ones, too.
const formula = "=+-@\uFF1D\uFF0B\uFF0D\uFF20"

// lines are those of one round.
func (r *Record) lines() (all []line) {
	for _, row := range r.Rows() {
		for _, part := range row.parts() {
			l := r.common(row)
			for name, value := range part {
				l[name] = value
			}
			for name, value := range l {
				if value == "" {
					delete(l, name)
				}
			}
			all = append(all, l)
		}
	}
	return all
}

// common is what every line of an answer holds.
func (r *Record) common(row Row) line {
	result := row.Result
	var findings []string
	for _, f := range row.Findings {
		findings = append(findings, rules.GradeWords(f.GetGrade())+": "+f.GetText())
	}
	l := line{
		"round": r.Round.GetName(), "vehicle": r.Round.GetVehicle(), "routine": r.Round.GetRoutine(),
		"driver": r.Round.GetDriver(), "assistant": r.Round.GetAssistant(),
		"sequence": row.Sequence, "recorded_at_utc": utc(result.GetStationTime()), "looked_at_utc": utc(result.GetLookedAt()),
		"person": result.GetPerson(), "device": result.GetDevice(), "step_id": result.GetStepId(), "title": row.Title(),
		"limit": row.Step.GetLimitText(), "gauge": result.GetGauge(), "outcome": row.Outcome(),
		"findings": strings.Join(findings, " | "), "put_right": row.Cured(), "note": result.GetNote(),
	}
	if result.GetLookedS() > 0 {
		l["looked_s"] = result.GetLookedS()
	}
	if result.AirCelsius != nil {
		l["air_celsius"] = result.GetAirCelsius()
	}
	if row.Sender.GetPlainText() {
		l["sent_by_role"] = "plain text"
	} else if row.Sender.GetClient() != "" {
		l["sent_by"], l["sent_by_role"] = row.Sender.GetClient(), admit.Word(row.Sender.GetRole())
		l["sent_by_certificate_sha256"] = hex.EncodeToString(row.Sender.GetCertificateSha256())
	}
	if row.Superseded != 0 {
		l["superseded_by_sequence"] = row.Superseded
	}
	if result.GetGaugeOverdue() {
		l["gauge_overdue"] = true
	}
	if result.GetCorrection() {
		l["correction"] = true
	}
	return l
}

// parts are what an answer tells, value by value.
func (row Row) parts() (parts []line) {
	switch a := row.Result.GetAnswer().(type) {
	case *pb.Result_Reading:
		for _, v := range a.Reading.GetValues() {
			l := line{"answer": "reading", "part": v.GetPart(), "as_typed": v.GetAsTyped(), "as_typed_unit": v.GetUnit()}
			for _, part := range row.Step.GetParts() {
				if part.GetId() == v.GetPart() {
					l.put(part.GetQuantity(), v.GetSi())
				}
			}
			parts = append(parts, l)
		}
	case *pb.Result_Profile:
		for i, section := range a.Profile.GetSections() {
			for _, p := range section.GetPoints() {
				l := line{
					"answer": "profile", "part": fmt.Sprintf("section_%d", i+1), "across_share": p.GetAcross(),
					"as_typed": p.GetAsTyped(), "as_typed_unit": a.Profile.GetUnit(),
				}
				l.put(pb.Quantity_QUANTITY_LENGTH, p.GetDepthMm())
				parts = append(parts, l)
			}
		}
	case *pb.Result_Level:
		l := line{"answer": "level", "level_mark": strings.ToLower(strings.TrimPrefix(a.Level.GetMark().String(), "LEVEL_MARK_"))}
		if a.Level.GetMark() == pb.LevelMark_LEVEL_MARK_BETWEEN {
			l["level_share"] = a.Level.GetFraction()
		}
		parts = append(parts, l)
	case *pb.Result_Seen:
		for _, c := range a.Seen.GetConditions() {
			parts = append(parts, row.seenLine(c))
		}
	case *pb.Result_NotChecked:
		parts = append(parts, line{"answer": "not_checked", "not_checked_reason": strings.ToLower(strings.TrimPrefix(a.NotChecked.GetReason().String(), "NOT_CHECKED_REASON_"))})
	}
	for _, c := range row.Result.GetAlsoSeen() {
		parts = append(parts, row.seenLine(c))
	}
	return parts
}

func (row Row) seenLine(c *pb.ConditionSeen) line {
	l := line{"answer": "seen", "condition": row.seenWords(&pb.ConditionSeen{Condition: c.GetCondition()})}
	if n := c.GetCount(); n != nil {
		l["affected_count"], l["of_count"] = int64(n.GetAffected()), int64(n.GetOf())
	}
	return l
}

// put lays a number into the column of its unit.
func (l line) put(q pb.Quantity, si float64) {
	for _, u := range units {
		if u.unit == catalogue.UnitOf(q) {
			l[u.column] = si
		}
	}
}

// utc is an instant as in RFC 3339; empty when there is none.
func utc(at *timestamppb.Timestamp) string {
	if at == nil {
		return ""
	}
	return at.AsTime().UTC().Format(time.RFC3339Nano)
}
