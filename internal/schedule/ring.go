package schedule

import (
	"hash/fnv"
	"slices"
	"strconv"
)

// The ring is a year of 48 weeks that comes round for ever, laid over the days counted from
// 1 January 1970. Each item has its own days on it. They follow from the items alone, not
// from today, so that tomorrow's plan is today's, a day on.
const ringDays = 336

// periods are the lengths at which items come round: every day, week, two, four, twelve
// weeks, twenty-four, and once round the ring. Each divides the next, which keeps the load
// of every day alike; and from the week on an item keeps its day of the week.
var periods = [...]int{1, 7, 14, 28, 84, 168, ringDays}

// turns are the days on which an item has its turn, and the watch of those days.
type turns struct {
	period  int
	offsets []int // days of the period, ascending
	change  int   // which of the day's watches, in the order of changes
}

// on says whether the item has its turn on a day.
func (t turns) on(number int) bool {
	return slices.Contains(t.offsets, (number%t.period+t.period)%t.period)
}

// lastUntil returns the latest turn until a day, that day included.
func (t turns) lastUntil(number int) int {
	for !t.on(number) {
		number--
	}
	return number
}

// firstFrom returns the earliest turn from a day on.
func (t turns) firstFrom(number int) int {
	for !t.on(number) {
		number++
	}
	return number
}

// patterns returns the choices of days that an item with a longest gap has: the longest
// period that is not too long, from each of its days on. A gap of 2 to 6 days means some
// days of every week, as few as will do.
func patterns(longestGapDays int) (period int, offsets [][]int) {
	for _, p := range periods {
		if p <= longestGapDays {
			period = p
		}
	}
	times := 1
	if longestGapDays > 1 && longestGapDays < 7 {
		period = 7
		times = (7 + longestGapDays - 1) / longestGapDays
	}
	for first := range period {
		var days []int
		for i := range times {
			days = append(days, (first+i*period/times)%period)
		}
		slices.Sort(days)
		offsets = append(offsets, days)
	}
	return period, offsets
}

// ring is the seconds of work on each watch of each of its days.
type ring struct {
	seconds [ringDays][]int
	longest int // the most seconds of one item placed so far
}

func newRing(changes int) *ring {
	var r ring
	for day := range r.seconds {
		r.seconds[day] = make([]int, changes)
	}
	return &r
}

// place gives an item its turns, and adds its work to the ring. It takes the favourite of
// the item among those of its choices whose busiest watch has little more work than the
// least busy choice: a third of the longest item, as yet. Favourites are drawn by a hash of
// the id: so few items care when another one comes.
func (r *ring) place(i Item, changes []int) turns {
	r.longest = max(r.longest, i.Seconds)
	period, offsets := patterns(i.LongestGapDays)
	var choices []turns
	var busiest []int
	for _, days := range offsets {
		for _, change := range changes {
			choices = append(choices, turns{period, days, change})
			busiest = append(busiest, r.busiest(choices[len(choices)-1]))
		}
	}
	enough := slices.Min(busiest) + r.longest/3
	var chosen turns
	best := uint64(0)
	for n, choice := range choices {
		liking := liking(i.ID, choice.offsets[0], choice.change)
		if busiest[n] <= enough && (chosen.offsets == nil || liking > best) {
			chosen, best = choice, liking
		}
	}
	for start := 0; start < ringDays; start += period {
		for _, offset := range chosen.offsets {
			r.seconds[start+offset][chosen.change] += i.Seconds
		}
	}
	return chosen
}

// busiest returns the most work that one of the watches of some turns has so far.
func (r *ring) busiest(t turns) (seconds int) {
	for start := 0; start < ringDays; start += t.period {
		for _, offset := range t.offsets {
			seconds = max(seconds, r.seconds[start+offset][t.change])
		}
	}
	return seconds
}

func liking(id string, day, change int) uint64 {
	h := fnv.New64a()
	h.Write([]byte(strconv.Itoa(day) + "/" + strconv.Itoa(change) + "/" + id))
	return scatter(h.Sum64())
}

// scatter mixes the bits of a hash whose high ones say little of the last bytes: the
// finaliser of MurmurHash3, which is in the public domain.
func scatter(h uint64) uint64 {
	h ^= h >> 33
	h *= 0xff51afd7ed558ccd
	h ^= h >> 33
	h *= 0xc4ceb9fe1a85ec53
	return h ^ h>>33
}
