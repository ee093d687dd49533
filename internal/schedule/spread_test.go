package schedule_test

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/schedule"
)

const ringYear = 336 // days, after which all turns come round again

// wendmoor is a calendar as a whole-time station has it.
func wendmoor(t interface{ Fatalf(string, ...any) }) schedule.Calendar {
	return changing(t, "Europe/London", "08:00", "18:00")
}

func spread(t interface{ Fatalf(string, ...any) }, c schedule.Calendar, items []schedule.Item, from time.Time, days int) schedule.Spread {
	s, err := c.Spread(items, from, from.AddDate(0, 0, days))
	if err != nil {
		t.Fatalf("spread: %v", err)
	}
	return s
}

// turnsOf says on which days, and in which watches, each item is done.
func turnsOf(s schedule.Spread) map[string][]string {
	all := map[string][]string{}
	for _, load := range s.Loads {
		for _, id := range load.Items {
			all[id] = append(all[id], load.Watch.On.String()+" "+load.Watch.Name)
		}
	}
	return all
}

// drawItems draws up to most items; gaps are drawn of those given.
func drawItems(t *rapid.T, most int, gaps ...int) (items []schedule.Item) {
	n := rapid.IntRange(0, most).Draw(t, "items")
	for i := range n {
		items = append(items, schedule.Item{
			ID:             fmt.Sprintf("%s-%03d", rapid.SampledFrom([]string{"TYR", "LMP", "PMP"}).Draw(t, "family"), i),
			LongestGapDays: rapid.SampledFrom(gaps).Draw(t, "gap"),
			Seconds:        rapid.IntRange(0, 900).Draw(t, "seconds"),
		})
	}
	return items
}

var everyGap = []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 13, 14, 20, 28, 31, 60, 83, 92, 167, 183, 335, 366, 3660}

// No gap is exceeded, from the last doing over each one after it to the end of the plan,
// but for those that are said to be; and those really are.
func TestSpread_NoGapIsExceededUnlessSaid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCalendar(t)
		from := drawInstant(t, c)
		today := c.WatchAt(from).On
		items := drawItems(t, 12, everyGap...)
		for i := range items {
			if rapid.Bool().Draw(t, "done") {
				items[i].LastDone = today.Plus(-rapid.IntRange(0, 2*items[i].LongestGapDays).Draw(t, "days ago"))
			}
		}
		s := spread(t, c, items, from, rapid.IntRange(1, 400).Draw(t, "days"))
		last := s.Loads[len(s.Loads)-1].Watch.On
		late := map[schedule.Late]bool{}
		for _, l := range s.Late {
			late[l] = true
		}
		for _, item := range items {
			done, never := item.LastDone, item.LastDone == schedule.Date{}
			if never {
				done = today.Plus(-1)
			}
			for _, load := range s.Loads {
				if !slices.Contains(load.Items, item.ID) {
					continue
				}
				gap := load.Watch.On.DaysSince(done)
				said := schedule.Late{ID: item.ID, Since: done, Done: load.Watch.On, GapDays: gap, AllowDays: item.LongestGapDays}
				if gap < 1 || late[said] != (gap > item.LongestGapDays) {
					t.Fatalf("%+v: done on %v and again on %v, late: %v", item, done, load.Watch.On, s.Late)
				}
				delete(late, said)
				done = load.Watch.On
			}
			// What is left to the days after the plan is not over its gap within it. The very
			// last day may be cut in two, its other watch still to come.
			if last.DaysSince(done) > item.LongestGapDays {
				t.Fatalf("%+v: last done on %v, and not until %v", item, done, last)
			}
		}
		if len(late) > 0 {
			t.Fatalf("said to be late, but are not: %v", late)
		}
	})
}

// With a gap a calendar's watches always allow, only what was late before is late.
func TestSpread_OnlyTheFirstCanBeLate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, from := wendmoor(t), utc(t, "2026-02-02T09:00:00Z")
		items := drawItems(t, 12, everyGap...)
		var want []string
		for i := range items {
			ago := rapid.IntRange(1, 60).Draw(t, "days ago")
			items[i].LastDone = day("2026-02-02").Plus(-ago)
			if ago > items[i].LongestGapDays {
				want = append(want, fmt.Sprintf("%s %d of %d", items[i].ID, ago, items[i].LongestGapDays))
			}
		}
		slices.Sort(want)
		var got []string
		for _, l := range spread(t, c, items, from, 100).Late {
			got = append(got, fmt.Sprintf("%s %d of %d", l.ID, l.GapDays, l.AllowDays))
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatalf("late (-want +got):\n%s", diff)
		}
	})
}

// Once round the ring no watch has more work than another by more than 4/3 of the longest item.
func TestSpread_LoadIsEven(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		items := drawItems(t, 150, 1, 7, 8, 14, 15, 28, 31, 84, 92, 168, 183, 336, 366)
		s := spread(t, wendmoor(t), items, utc(t, "2026-02-02T09:00:00Z"), ringYear)
		longest, least, most := 0, 1<<60, 0
		seconds := map[string]int{}
		for _, item := range items {
			longest = max(longest, item.Seconds)
			seconds[item.ID] = item.Seconds
		}
		for _, load := range s.Loads {
			sum := 0
			for _, id := range load.Items {
				sum += seconds[id]
			}
			if sum != load.Seconds || !slices.IsSorted(load.Items) {
				t.Fatalf("%v makes %d s", load, sum)
			}
			least, most = min(least, sum), max(most, sum)
		}
		if 3*(most-least) > 4*longest {
			t.Fatalf("watches have from %d to %d s, the longest item %d s", least, most, longest)
		}
	})
}

// The order of the items says nothing, and neither does how far the plan goes.
func TestSpread_SameItemsSameTurns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, from := drawCalendar(t), utc(t, "2026-03-20T09:00:00Z")
		items := drawItems(t, 20, everyGap...)
		long := spread(t, c, items, from, 60)
		short := spread(t, c, rapid.Permutation(items).Draw(t, "order"), from, rapid.IntRange(1, 60).Draw(t, "days"))
		if diff := cmp.Diff(long.Loads[:len(short.Loads)], short.Loads); diff != "" {
			t.Fatalf("loads (-long +short):\n%s", diff)
		}
	})
}

// When a watch has done what it had to, the plan made after it is the rest of the one before.
func TestSpread_TomorrowsPlanIsTodays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCalendar(t)
		from := utc(t, rapid.SampledFrom([]string{"2026-03-20T09:00:00Z", "2026-03-28T20:00:00Z"}).Draw(t, "from"))
		items := drawItems(t, 20, everyGap...)
		for i := range items {
			if rapid.Bool().Draw(t, "done") {
				items[i].LastDone = c.WatchAt(from).On.Plus(-rapid.IntRange(1, 2*items[i].LongestGapDays).Draw(t, "days ago"))
			}
		}
		today := spread(t, c, items, from, 60)
		passed := rapid.IntRange(1, 40).Draw(t, "watches")
		passed = min(passed, len(today.Loads)-1)
		for _, load := range today.Loads[:passed] {
			for i := range items {
				if slices.Contains(load.Items, items[i].ID) {
					items[i].LastDone = load.Watch.On
				}
			}
		}
		then, err := c.Spread(items, today.Loads[passed].Watch.Begins, from.AddDate(0, 0, 60))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(today.Loads[passed:], then.Loads); diff != "" {
			t.Fatalf("the plan after %d watches (-then +now):\n%s", passed, diff)
		}
	})
}

// A watch that the clocks left no time for was missed by nobody: whose turn is then goes to
// the day's last watch, on the day itself as in the plans made before. Source: IANA time zone
// database, Europe/London: on 29 March 2026 the clocks go from 01:00 to 02:00.
func TestSpread_AWatchTheClocksLeftOutWasNotMissed(t *testing.T) {
	c, from := changing(t, "Europe/London", "00:00", "01:15", "02:00", "12:00"), utc(t, "2026-03-28T00:30:00Z")
	var items []schedule.Item
	for i := range 40 {
		items = append(items, schedule.Item{ID: fmt.Sprintf("TYR-%03d", i), LongestGapDays: 1 + i%9, Seconds: 60, LastDone: day("2026-03-27")})
	}
	plan := spread(t, c, items, from, 10)
	onTheDay := 0
	for passed, load := range plan.Loads[:len(plan.Loads)-1] {
		if load.Watch.On == day("2026-03-29") {
			onTheDay++
		}
		for i := range items {
			if slices.Contains(load.Items, items[i].ID) {
				items[i].LastDone = load.Watch.On
			}
		}
		then, err := c.Spread(items, load.Watch.Ends, from.AddDate(0, 0, 10))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(plan.Loads[passed+1:], then.Loads); diff != "" {
			t.Fatalf("the plan after the watch %q of %v (-before +now):\n%s", load.Watch.Name, load.Watch.On, diff)
		}
	}
	if onTheDay != 3 {
		t.Fatalf("29 March has %d watches, want 3", onTheDay)
	}
}

// publishedItems are the rows of the item catalogue that are due weekly or monthly, with the
// seconds it gives them; source: testdata/reference/item-catalogue.csv.
func publishedItems(t *testing.T) (items []schedule.Item) {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "reference", "item-catalogue.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	id, when, seconds := slices.Index(rows[0], "item_id"), slices.Index(rows[0], "when_due"), slices.Index(rows[0], "min_seconds")
	for _, row := range rows[1:] {
		gap := 0
		switch {
		case strings.Contains(row[when], "weekly"):
			gap = 8
		case strings.Contains(row[when], "monthly"):
			gap = 31
		default:
			continue
		}
		s, err := strconv.Atoi(row[seconds])
		if err != nil {
			t.Fatal(err)
		}
		items = append(items, schedule.Item{ID: row[id], LongestGapDays: gap, Seconds: s})
	}
	return items
}

// An item that comes later has no effect on any that was there.
func TestSpread_ALaterItemMovesNoneThatWasThere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, from := drawCalendar(t), utc(t, "2026-03-20T09:00:00Z")
		items := drawItems(t, 30, everyGap...)
		for i := range items {
			items[i].Since = day("2026-01-01").Plus(rapid.IntRange(0, 3).Draw(t, "since"))
		}
		later := schedule.Item{
			ID: "NEW-001", LongestGapDays: rapid.SampledFrom(everyGap).Draw(t, "new gap"), Seconds: rapid.IntRange(0, 86400).Draw(t, "new seconds"),
			Since: day("2026-01-05"),
		}
		before := turnsOf(spread(t, c, items, from, 90))
		after := turnsOf(spread(t, c, append(items, later), from, 90))
		delete(after, later.ID)
		if diff := cmp.Diff(before, after); diff != "" {
			t.Fatalf("turns (-before +after):\n%s", diff)
		}
	})
}

// Whichever item of the catalogue is the new one, even if nobody says that it came later:
// on average at most one in twenty of the others moves.
func TestSpread_ANewItemMovesFewOthers(t *testing.T) {
	items := publishedItems(t)
	if len(items) < 50 {
		t.Fatalf("the catalogue has only %d weekly and monthly items", len(items))
	}
	c, from := wendmoor(t), utc(t, "2026-02-02T09:00:00Z")
	all := turnsOf(spread(t, c, items, from, 28))
	moved, worst := 0, 0
	for i, added := range items {
		without := turnsOf(spread(t, c, slices.Delete(slices.Clone(items), i, i+1), from, 28))
		n := 0
		for id := range all {
			if id != added.ID && !slices.Equal(all[id], without[id]) {
				n++
			}
		}
		moved, worst = moved+n, max(worst, n)
	}
	average := float64(moved) / float64(len(items))
	t.Logf("of %d items a new one moves %.2f others on average, %d at most", len(items), average, worst)
	if average > 0.05*float64(len(items)) {
		t.Errorf("of %d items a new one moves %.1f others on average", len(items), average)
	}
}

func TestSpread_KeepsToTheWatchesThatMay(t *testing.T) {
	items := []schedule.Item{
		{ID: "HRN-001", LongestGapDays: 7, Seconds: 20, Only: "08:00"}, // common practice: no horn at night
		{ID: "LMP-001", LongestGapDays: 7, Seconds: 20, Only: "18:00"},
	}
	for id, turns := range turnsOf(spread(t, wendmoor(t), items, utc(t, "2026-03-20T09:00:00Z"), 30)) {
		want := map[string]string{"HRN-001": "08:00", "LMP-001": "18:00"}[id]
		if len(turns) < 4 {
			t.Errorf("%s is done only %d times in 30 days", id, len(turns))
		}
		for _, turn := range turns {
			if !strings.HasSuffix(turn, want) {
				t.Errorf("%s is done on %s", id, turn)
			}
		}
	}
}

// The day watch is over, and the gap with it: the next one that may is tomorrow's.
func TestSpread_SaysWhatIsImpossible(t *testing.T) {
	items := []schedule.Item{{ID: "HRN-001", LongestGapDays: 7, Seconds: 20, Only: "08:00", LastDone: day("2026-03-13")}}
	s := spread(t, wendmoor(t), items, utc(t, "2026-03-20T20:00:00Z"), 5)
	want := []schedule.Late{{ID: "HRN-001", Since: day("2026-03-13"), Done: day("2026-03-21"), GapDays: 8, AllowDays: 7}}
	if diff := cmp.Diff(want, s.Late); diff != "" {
		t.Errorf("late (-want +got):\n%s", diff)
	}
	for _, item := range []schedule.Item{
		{},
		{ID: "A", LongestGapDays: 0},
		{ID: "A", LongestGapDays: 3661},
		{ID: "A", LongestGapDays: 7, Seconds: -1},
		{ID: "A", LongestGapDays: 7, Seconds: 86401},
		{ID: "A", LongestGapDays: 7, Only: "dusk"},
		{ID: "A", LongestGapDays: 7, LastDone: schedule.Date{Year: 2026, Month: 2, Day: 30}},
	} {
		if _, err := wendmoor(t).Spread([]schedule.Item{item}, time.Unix(0, 0), time.Unix(1, 0)); !fault.Is(err, fault.Invalid) {
			t.Errorf("%+v is taken: %v", item, err)
		}
	}
	twice := schedule.Item{ID: "A", LongestGapDays: 7}
	if _, err := wendmoor(t).Spread([]schedule.Item{twice, twice}, time.Unix(0, 0), time.Unix(1, 0)); !fault.Is(err, fault.Invalid) {
		t.Errorf("the same id twice is taken: %v", err)
	}
	if s, err := wendmoor(t).Spread(nil, time.Unix(1, 0), time.Unix(1, 0)); err != nil || len(s.Loads) > 0 {
		t.Errorf("no time: %v, %v", s, err)
	}
}

// A doing recorded for a day that has not come must not put the next one off.
func TestSpread_DoneInTheFutureCountsAsNever(t *testing.T) {
	never := []schedule.Item{{ID: "TYR-001", LongestGapDays: 8, Seconds: 60}}
	ahead := slices.Clone(never)
	ahead[0].LastDone = day("2027-03-20")
	from := utc(t, "2026-03-20T09:00:00Z")
	if diff := cmp.Diff(spread(t, wendmoor(t), never, from, 30), spread(t, wendmoor(t), ahead, from, 30)); diff != "" {
		t.Errorf("never done and done in the future (-never +future):\n%s", diff)
	}
}
