package catalogue

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	pb "bayround/proto/bayround/v1"
)

// The tables item-catalogue.csv and fault-catalogue.csv are the project's own
// reference of the job: 249 items and 715 faults, each row with its source column.
// The YAML rewords them; what is compared here is what must not have been lost.

// addedItems are those the reference does not have, and when they are due: rates
// that are tapped along with, which an answer of the lamp round could not hold.
var addedItems = map[string]pb.Trigger{
	"LMP-041": pb.Trigger_TRIGGER_WEEKLY, "LMP-042": pb.Trigger_TRIGGER_WEEKLY, "LMP-121": pb.Trigger_TRIGGER_WEEKLY,
}

// table reads a reference table into one map a row.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "reference", name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		entry := map[string]string{}
		for i, column := range rows[0] {
			entry[column] = row[i]
		}
		out = append(out, entry)
	}
	return out
}

// defaults loads the files that come with Bayround.
func defaults(t testing.TB) *Loaded {
	t.Helper()
	loaded, err := Load(Defaults())
	if err != nil {
		t.Fatalf("the default files are refused:\n%v", err)
	}
	return loaded
}

// byID lists the catalogue's items.
func byID(c *pb.Catalogue) map[string]*pb.Item {
	items := map[string]*pb.Item{}
	for _, item := range c.GetItems() {
		items[item.GetId()] = item
	}
	return items
}

func TestDefaults_HoldEveryItemOfTheReference(t *testing.T) {
	rows := table(t, "item-catalogue.csv")
	if len(rows) != 249 {
		t.Fatalf("item-catalogue.csv has %d rows, want 249 (job-map.md, heading)", len(rows))
	}
	items := byID(defaults(t).Catalogue)
	if want := len(rows) + len(addedItems); len(items) != want {
		t.Errorf("%d items loaded, want %d", len(items), want)
	}
	for id, due := range addedItems {
		if got := items[id].GetTriggers(); !slices.Equal(got, []pb.Trigger{due}) {
			t.Errorf("%s is due %v, want %v", id, got, due)
		}
	}
	for _, row := range rows {
		item := items[row["item_id"]]
		if item == nil {
			t.Errorf("%s is missing", row["item_id"])
			continue
		}
		compareItem(t, row, item)
	}
}

// compareItem compares what an item and its row both say.
func compareItem(t *testing.T, row map[string]string, item *pb.Item) {
	t.Helper()
	id := item.GetId()
	for column, got := range map[string]int32{"min_seconds": item.GetLeastLookS(), "ready_again_s": item.GetUndoS()} {
		if want, err := strconv.Atoi(row[column]); err != nil || got != int32(want) {
			t.Errorf("%s: %s is %d, the reference has %s", id, column, got, row[column])
		}
	}
	for column, got := range map[string]bool{
		"killer": item.GetMustNotMiss(), "tell_control_first": item.GetTellControlFirst(),
		"needs_ignition": item.GetState().GetIgnitionOn(), "assistant": item.GetState().GetAssistant(),
		"consumable": item.GetConsumable() != "",
	} {
		if want := !slices.Contains([]string{"N", "no", "off", ""}, row[column]); got != want {
			t.Errorf("%s: %s is %v, the reference has %q", id, column, got, row[column])
		}
	}
	if got, want := item.GetState().GetEngine().String(), "ENGINE_STATE_"+strings.ToUpper(row["needs_engine"]); got != want {
		t.Errorf("%s: engine is %s, the reference has %s", id, got, row["needs_engine"])
	}
	if got, want := item.GetFamily(), row["family"]; got != want {
		t.Errorf("%s: family is %q, the reference has %q", id, got, want)
	}
	wantKinds := map[string][]pb.AnswerKind{
		"choice": {pb.AnswerKind_ANSWER_KIND_CONDITION}, "yesno": {pb.AnswerKind_ANSWER_KIND_CONDITION}, "level": {pb.AnswerKind_ANSWER_KIND_LEVEL},
		"reading": {pb.AnswerKind_ANSWER_KIND_READING, pb.AnswerKind_ANSWER_KIND_PROFILE},
	}[row["answer_kind"]]
	if !slices.Contains(wantKinds, item.GetAnswerKind()) {
		t.Errorf("%s: answer kind is %s, the reference has %s", id, item.GetAnswerKind(), row["answer_kind"])
	}
	compareFits(t, row, item)
	compareDue(t, row, item)
}

// fitsFewer are items that the reference asks of all vehicles, and which of them
// they make sense for: one with a combustion engine, one held in reserve.
var fitsFewer = map[string][]string{
	"engine": {
		"PRE-040", "ENG-010", "ENG-020", "ENG-030", "ENG-110", "ENG-120", "ENG-130", "ENG-140", "ENG-150", "ENG-160", "ENG-180", "ENG-190",
		"FUE-010", "EXH-010", "FLU-010", "FLU-020", "FLU-030", "FLU-040", "FLU-110", "FLU-130", "FLU-150", "INS-030", "INS-040",
	},
	"reserve": {"RSV-010", "RSV-020", "RSV-030"},
}

// compareFits compares the feature words. Ours differ in four ways, each on
// purpose: "all" says "powered", or what fitsFewer says; some items suit trailers
// too; and a brake is asked for only where there is one.
func compareFits(t *testing.T, row map[string]string, item *pb.Item) {
	t.Helper()
	want := strings.Split(row["fits"], "|")
	if want[0] == "all" {
		want = []string{"powered"}
	}
	for word, items := range fitsFewer {
		if slices.Contains(items, item.GetId()) {
			want = []string{word}
		}
	}
	if item.GetId() == "TRL-070" {
		want = []string{"braked_trailer"}
	}
	got := slices.DeleteFunc(slices.Clone(item.GetFitsAny()), func(word string) bool {
		return word == "trailer" && row["fits"] == "all"
	})
	if !slices.Equal(got, want) {
		t.Errorf("%s fits %v, the reference has %q", item.GetId(), got, row["fits"])
	}
}

// compareDue compares the triggers, and with them how long an answer stays good:
// a shift of twelve hours and two to get round, a week and a day, a month and a
// day, a year and a day (common practice).
func compareDue(t *testing.T, row map[string]string, item *pb.Item) {
	t.Helper()
	type due struct {
		trigger pb.Trigger
		goodFor time.Duration
	}
	const day = 24 * time.Hour
	words := map[string]due{
		"shift": {pb.Trigger_TRIGGER_SHIFT, 14 * time.Hour}, "shift in frost": {pb.Trigger_TRIGGER_WINTER, 14 * time.Hour},
		"weekly": {pb.Trigger_TRIGGER_WEEKLY, 8 * day}, "weekly in winter": {pb.Trigger_TRIGGER_WINTER, 8 * day},
		"monthly": {pb.Trigger_TRIGGER_MONTHLY, 32 * day}, "workshop": {pb.Trigger_TRIGGER_MONTHLY, 32 * day},
		"before_winter": {pb.Trigger_TRIGGER_WINTER, 366 * day}, "before_tow": {pb.Trigger_TRIGGER_BEFORE_TOW, 366 * day},
		"after_repair": {pb.Trigger_TRIGGER_AFTER_REPAIR, 366 * day}, "after_repair_brake_steer_wheel": {pb.Trigger_TRIGGER_AFTER_REPAIR, 366 * day},
		"after_incident": {pb.Trigger_TRIGGER_AFTER_INCIDENT, 366 * day}, "after_collision": {pb.Trigger_TRIGGER_AFTER_INCIDENT, 366 * day},
		"reserve_takeover": {pb.Trigger_TRIGGER_RESERVE_TAKEOVER, 366 * day}, "after_run": {pb.Trigger_TRIGGER_AFTER_RUN, 366 * day},
		"after_change": {pb.Trigger_TRIGGER_AFTER_CHANGE, 366 * day},
	}
	var triggers []pb.Trigger
	shortest := 367 * day
	for _, word := range strings.Split(row["when_due"], "|") {
		d, known := words[word]
		if !known {
			t.Fatalf("%s: the reference is due %q, which this test does not know", item.GetId(), word)
		}
		triggers = append(triggers, d.trigger)
		shortest = min(shortest, d.goodFor)
	}
	if item.GetId() == "WHL-200" { // whatever the wheel was off for, a tyre change too
		triggers = []pb.Trigger{pb.Trigger_TRIGGER_AFTER_WHEEL_FITTED}
	}
	if got := item.GetTriggers(); !slices.Equal(got, slices.Compact(triggers)) {
		t.Errorf("%s has triggers %v, the reference has %q", item.GetId(), got, row["when_due"])
	}
	if got := item.GetGoodFor().AsDuration(); got != shortest {
		t.Errorf("%s stays good for %v, want %v for %q", item.GetId(), got, shortest, row["when_due"])
	}
}

// curedInName are faults that the reference lets close by reading again although
// what it tells the driver to do is no cure, and why they need a repair here.
var curedInName = map[string]string{
	"TYR-010-01": "a flat tyre is not inflated on the vehicle (its own words, and item-catalogue.csv, caution of TYR-010)",
	"TYR-011-01": "a flat tyre is not inflated on the vehicle (its own words, and item-catalogue.csv, caution of TYR-011)",
	"TYR-010-02": "taken as run flat below 80 % of target: tyre-pressure-limits.csv",
	"TYR-011-02": "taken as run flat below 80 % of target: tyre-pressure-limits.csv",
	"TYR-110-02": "taken as run flat below 80 % of target: tyre-pressure-limits.csv",
	"TYR-111-02": "taken as run flat below 80 % of target: tyre-pressure-limits.csv",
	"BDY-070-01": "strapping a tray does not mend its lock",
	"LAD-010-01": "strapping a ladder does not mend its lock",
}

// addedFaults counts the faults that the reference does not have. Those of its
// items are there for the sake of a published line, which their source names, and
// none of them can be put right on the spot.
func addedFaults(t *testing.T, items map[string]*pb.Item, rows []map[string]string) (added int) {
	t.Helper()
	reference := map[string]bool{}
	for _, row := range rows {
		reference[row["fault_id"]] = true
	}
	for _, item := range items {
		for _, f := range item.GetFaults() {
			if _, ours := addedItems[item.GetId()]; ours {
				added++
				continue
			}
			if reference[f.GetId()] {
				continue
			}
			added++
			if f.GetPutRightNow() || !strings.HasPrefix(f.GetSource(), "Directive 2014/45/EU, Annex I, ") {
				t.Errorf("%s, %s, is not of the reference and names no line of the annex: %s", f.GetId(), f.GetText(), f.GetSource())
			}
		}
	}
	if added != 178 {
		t.Errorf("%d faults are added to the reference, want 178", added)
	}
	return added
}

func TestDefaults_HoldEveryFaultOfTheReference(t *testing.T) {
	rows := table(t, "fault-catalogue.csv")
	if len(rows) != 715 {
		t.Fatalf("fault-catalogue.csv has %d rows, want 715 (job-map.md, heading)", len(rows))
	}
	items, total := byID(defaults(t).Catalogue), 0
	for _, item := range items {
		total += len(item.GetFaults())
	}
	if want := len(rows) + addedFaults(t, items, rows); total != want {
		t.Errorf("%d faults loaded, want %d", total, want)
	}
	for _, row := range rows {
		item := items[row["item_id"]]
		at := slices.IndexFunc(item.GetFaults(), func(f *pb.Fault) bool { return f.GetId() == row["fault_id"] })
		if at < 0 {
			t.Errorf("%s is missing", row["fault_id"])
			continue
		}
		want := row["put_right_now"] == "yes" && curedInName[row["fault_id"]] == ""
		if got := item.GetFaults()[at].GetPutRightNow(); got != want {
			t.Errorf("%s: put right now is %v, the reference has %q", row["fault_id"], got, row["put_right_now"])
		}
	}
}

// A condition bears the last two digits of its fault, in the order of the faults.
// Items that ask for conditions have one for every fault, after the sound one; WHL-200
// has a sound one more (the reference has "no wheel was off" beside "done and recorded");
// beside a value there are those that can be seen.
func TestDefaults_ConditionsAreKeyedOneToOneToFaults(t *testing.T) {
	for _, item := range defaults(t).Catalogue.GetItems() {
		conditions := item.GetConditions()
		if item.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION {
			if first := conditions[0]; first.GetId() != "sound" || !first.GetSound() {
				t.Errorf("%s: the first condition is %v, want the sound one", item.GetId(), first)
			}
			sound := len(conditions)
			conditions = slices.DeleteFunc(slices.Clone(conditions), (*pb.Condition).GetSound)
			if sound -= len(conditions); sound > 1 && item.GetId() != "WHL-200" {
				t.Errorf("%s has %d sound conditions", item.GetId(), sound)
			}
			if got, want := len(conditions), len(item.GetFaults()); got != want {
				t.Errorf("%s has %d conditions for %d faults", item.GetId(), got, want)
			}
		}
		next := 0
		for _, condition := range conditions {
			at := slices.IndexFunc(item.GetFaults(), func(f *pb.Fault) bool { return f.GetId() == condition.GetFault() })
			if at < next || item.GetId()+"-"+condition.GetId() != condition.GetFault() {
				t.Errorf("%s: condition %q stands for %q, want its faults in their order", item.GetId(), condition.GetId(), condition.GetFault())
			}
			next = at + 1
		}
	}
}

// judgement finds words that say a judgement instead of what was seen (job-map.md
// C10: answer with the value or state seen, never "checked" or "OK").
var judgement = regexp.MustCompile(`(?i)\b(ok|okay|checked|pass|passed|fine|n/a)\b`)

func TestDefaults_SayWhatIsSeen(t *testing.T) {
	words := map[string]string{}
	for _, item := range defaults(t).Catalogue.GetItems() {
		if n := len(strings.Fields(item.GetPrompt())); n > 22 {
			t.Errorf("%s: the prompt has %d words, want one short sentence: %s", item.GetId(), n, item.GetPrompt())
		}
		if !strings.HasSuffix(item.GetPrompt(), ".") && !strings.HasSuffix(item.GetPrompt(), "?") {
			t.Errorf("%s: the prompt is no sentence: %s", item.GetId(), item.GetPrompt())
		}
		if strings.HasPrefix(strings.ToLower(item.GetPrompt()), "as ") {
			t.Errorf("%s: the prompt leans on another item: %s", item.GetId(), item.GetPrompt())
		}
		for _, condition := range item.GetConditions() {
			if judgement.MatchString(condition.GetText()) && !strings.Contains(condition.GetText(), "fine cracks") {
				t.Errorf("%s: %q judges instead of saying what is seen", item.GetId(), condition.GetText())
			}
			key := item.GetId() + " " + condition.GetText()
			if before := words[key]; before != "" {
				t.Errorf("%s: conditions %s and %s have the same words: %s", item.GetId(), before, condition.GetId(), condition.GetText())
			}
			words[key] = condition.GetId()
		}
	}
}
