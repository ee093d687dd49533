package main

import (
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	pb "bayround/proto/bayround/v1"
)

// stepFile is what a round file says of one step, or of all steps of an item.
type stepFile struct {
	key   *yaml.Node // where it stands
	skip  bool
	begin bool
	pause *pauseFile
	given []*givenFile // answers in order; none when skipped or when it is answered soundly
}

// pauseFile is an interruption after a step.
type pauseFile struct {
	note             string
	makeSafe, resume bool
}

// givenFile is one answer. At most one of reading, profile, level, seen and
// notChecked is there; none means the sound one. alsoSeen stands beside one of
// the first three.
type givenFile struct {
	at         *yaml.Node
	reading    map[string]amount // by part; "" for the only part
	profile    *pb.TreadProfile
	level      *pb.Level
	seen       []seenFile
	alsoSeen   []seenFile
	notChecked pb.NotCheckedReason
	gauge      string
	note       string
	looked     *time.Duration
	confirmed  bool
	leftOpen   bool
	correction bool
	cure       *pb.Cure // without found_result_id
	kinds      int      // how many kinds of answer stand there
}

// seenFile is a condition or fault that was seen.
type seenFile struct {
	word  string
	count *pb.Count
}

// sound reports whether no answer is given in the file.
func (g *givenFile) sound() bool { return g.kinds == 0 }

// readStep reads the entry of one step.
func readStep(y *yamlReader, key, n *yaml.Node) *stepFile {
	s := &stepFile{key: key}
	first := &givenFile{at: key}
	words := answerWords(y, first)
	words["skip"] = func(n *yaml.Node) { s.skip = y.flag(n) }
	words["begin"] = func(n *yaml.Node) { s.begin = y.flag(n) }
	words["pause_after"] = func(n *yaml.Node) { s.pause = readPause(y, n) }
	words["then"] = func(n *yaml.Node) {
		y.list(n, func(n *yaml.Node) {
			next := &givenFile{at: n}
			y.fields(n, answerWords(y, next))
			s.given = append(s.given, next)
			onlyOne(y, next)
		})
	}
	y.fields(n, words)
	onlyOne(y, first)
	if s.skip {
		if !first.sound() || len(s.given) > 0 {
			y.wrong(key, "what is skipped has no answer")
		}
		return s
	}
	s.given = append([]*givenFile{first}, s.given...)
	return s
}

// onlyOne refuses an answer of several kinds, and faults beside no value.
func onlyOne(y *yamlReader, g *givenFile) {
	if g.kinds > 1 {
		y.wrong(g.at, "one answer is of one kind: reading, profile, level, seen or not_checked")
	}
	if g.alsoSeen != nil && g.reading == nil && g.profile == nil && g.level == nil {
		y.wrong(g.at, "also_seen stands beside a reading, a profile or a level")
	}
}

// answerWords are the words of one answer.
func answerWords(y *yamlReader, g *givenFile) map[string]func(*yaml.Node) {
	kind := func(read func(*yaml.Node)) func(*yaml.Node) {
		return func(n *yaml.Node) { g.kinds++; read(n) }
	}
	return map[string]func(*yaml.Node){
		"reading":     kind(func(n *yaml.Node) { g.reading = readReading(y, n) }),
		"profile":     kind(func(n *yaml.Node) { g.profile = readProfile(y, n) }),
		"level":       kind(func(n *yaml.Node) { g.level = readLevel(y, n) }),
		"seen":        kind(func(n *yaml.Node) { g.seen = readSeen(y, n) }),
		"also_seen":   func(n *yaml.Node) { g.alsoSeen = readSeen(y, n) },
		"not_checked": kind(func(n *yaml.Node) { g.notChecked = readReason(y, n) }),
		"gauge":       func(n *yaml.Node) { g.gauge = inCollection("gauges", y.text(n)) },
		"note":        func(n *yaml.Node) { g.note = y.text(n) },
		"looked":      func(n *yaml.Node) { looked := y.duration(n); g.looked = &looked },
		"confirmed":   func(n *yaml.Node) { g.confirmed = y.flag(n) },
		"left_open":   func(n *yaml.Node) { g.leftOpen = y.flag(n) },
		"correction":  func(n *yaml.Node) { g.correction = y.flag(n) },
		"cure":        func(n *yaml.Node) { g.cure = readCure(y, n) },
	}
}

func readPause(y *yamlReader, n *yaml.Node) *pauseFile {
	p := &pauseFile{makeSafe: true, resume: true}
	if n.Kind == yaml.ScalarNode {
		p.note = y.text(n)
		return p
	}
	y.fields(n, map[string]func(*yaml.Node){
		"note":      func(n *yaml.Node) { p.note = y.text(n) },
		"make_safe": func(n *yaml.Node) { p.makeSafe = y.flag(n) },
		"resume":    func(n *yaml.Node) { p.resume = y.flag(n) },
	})
	return p
}

func readReading(y *yamlReader, n *yaml.Node) map[string]amount {
	if n.Kind == yaml.ScalarNode {
		return map[string]amount{"": y.amount(n)}
	}
	values := map[string]amount{}
	y.entries(n, func(key, value *yaml.Node) { values[key.Value] = y.amount(value) })
	return values
}

func readProfile(y *yamlReader, n *yaml.Node) *pb.TreadProfile {
	p := &pb.TreadProfile{Unit: "mm"}
	section := func(n *yaml.Node) {
		s := &pb.TreadSection{}
		y.list(n, func(n *yaml.Node) { s.Points = append(s.Points, &pb.TreadPoint{AsTyped: y.number(n)}) })
		if len(s.GetPoints()) < 2 {
			y.wrong(n, "a profile has at least two depths, from the outer to the inner shoulder")
			return
		}
		for i, point := range s.GetPoints() {
			point.Across = float64(i) / float64(len(s.GetPoints())-1)
		}
		p.Sections = append(p.Sections, s)
	}
	y.fields(n, map[string]func(*yaml.Node){
		"unit":     func(n *yaml.Node) { p.Unit = y.oneOf(n, "mm", "in/32") },
		"depths":   section,
		"sections": func(n *yaml.Node) { y.list(n, section) },
	})
	return p
}

func readLevel(y *yamlReader, n *yaml.Node) *pb.Level {
	switch n.Value {
	case "below":
		return &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BELOW}
	case "above":
		return &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_ABOVE}
	}
	share, err := strconv.ParseFloat(n.Value, 64)
	if err != nil || share < 0 || share > 1 {
		y.wrong(n, "a level is below, above, or the share between the marks from 0 to 1")
	}
	return &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BETWEEN, Fraction: share}
}

func readSeen(y *yamlReader, n *yaml.Node) []seenFile {
	var all []seenFile
	if n.Kind == yaml.MappingNode {
		y.entries(n, func(key, value *yaml.Node) { all = append(all, seenFile{word: key.Value, count: readCount(y, value)}) })
		return all
	}
	y.list(n, func(n *yaml.Node) { all = append(all, seenFile{word: y.text(n)}) })
	return all
}

// readCount reads "2 of 4".
func readCount(y *yamlReader, n *yaml.Node) *pb.Count {
	affected, of, both := strings.Cut(y.text(n), " of ")
	some, err1 := strconv.ParseInt(affected, 10, 32)
	all, err2 := strconv.ParseInt(of, 10, 32)
	if !both || err1 != nil || err2 != nil {
		y.wrong(n, "%q is no count; say for instance 2 of 4", n.Value)
	}
	return &pb.Count{Affected: int32(some), Of: int32(all)}
}

func readReason(y *yamlReader, n *yaml.Node) pb.NotCheckedReason {
	words := []string{"turnout", "engine_warm", "no_assistant", "no_gauge", "not_reachable", "not_carried", "no_time", "other"}
	return pb.NotCheckedReason(pb.NotCheckedReason_value["NOT_CHECKED_REASON_"+strings.ToUpper(y.oneOf(n, words...))])
}

func readCure(y *yamlReader, n *yaml.Node) *pb.Cure {
	if n.Kind == yaml.ScalarNode {
		return &pb.Cure{Done: y.text(n)}
	}
	cure := &pb.Cure{}
	y.fields(n, map[string]func(*yaml.Node){
		"done": func(n *yaml.Node) { cure.Done = y.text(n) },
		"amount": func(n *yaml.Node) {
			used := y.amount(n)
			cure.Amount, cure.Unit = used.value, used.unit
		},
	})
	return cure
}
