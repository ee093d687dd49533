package screen

import (
	"fmt"
	"strings"
	"testing"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"

	"golang.org/x/net/html"
	"google.golang.org/protobuf/proto"
)

// regionsOf draws a view and parses all its regions.
func regionsOf(t *testing.T, v *round.View) (*html.Node, string) {
	t.Helper()
	regions, err := tabletRegions(v, Display{TabletMMPerPX: smallTabletMMPerPX})
	if err != nil {
		t.Fatal(err)
	}
	var all strings.Builder
	for _, r := range regions {
		all.WriteString(r.HTML)
	}
	return parsePage(t, []byte(all.String())), all.String()
}

// freshSteps calls do with a view of every step of some vehicles' checks before
// anything was answered, the former result with it.
func freshSteps(t *testing.T, do func(t *testing.T, v *round.View)) {
	t.Helper()
	seen := map[pb.AnswerKind]int{}
	for _, check := range [][2]string{{"WN11", "shift"}, {"WN11", "weekly"}, {"WN31", "shift"}, {"T1", "before-tow"}} {
		for i, s := range steps(t, check[0], check[1]) {
			v := walkView(t, check[0], check[1], s.GetStepId())
			if i > 0 && i%10 != 0 && s.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION {
				continue // one in ten of these is enough
			}
			if s.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_PROFILE {
				grooves(v)
			}
			v.Step.Last = formerResult(s)
			seen[s.GetAnswerKind()]++
			do(t, v)
		}
	}
	if len(seen) != 4 {
		t.Fatalf("only these kinds of answer were seen: %v", seen)
	}
}

const formerNote = "seen by the watch before"

// formerResult is a result that no text of the catalogue holds by chance.
func formerResult(s *pb.CheckStep) *pb.Result {
	r := &pb.Result{StepId: s.GetStepId(), Note: formerNote}
	switch s.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING:
		r.Answer = &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{{AsTyped: 7.7731, Unit: "bar"}}}}
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		r.Answer = &pb.Result_Profile{Profile: &pb.TreadProfile{Sections: []*pb.TreadSection{{Points: []*pb.TreadPoint{{AsTyped: 7.7731}}}}}}
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		r.Answer = &pb.Result_Level{Level: &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BETWEEN, Fraction: 0.5}}
	default:
		r.Answer = &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: []*pb.ConditionSeen{{Condition: s.GetConditions()[0].GetId()}}}}
	}
	return r
}

// Nothing is ticked for anybody: no answer of a step is chosen or typed before
// a person did it, and none is set apart from the others.
func TestLaw_NothingIsChosenBeforehand(t *testing.T) {
	freshSteps(t, func(t *testing.T, v *round.View) {
		doc, _ := regionsOf(t, v)
		walkNodes(doc, func(n *html.Node) {
			for _, a := range n.Attr {
				chosen := a.Key == "checked" || a.Key == "selected" || a.Key == "aria-pressed" && a.Val == "true"
				if chosen {
					t.Errorf("%s: %q has %s", v.Step.GetStepId(), accessibleName(n), a.Key)
				}
			}
			typed := n.Data == "input" && attribute(n, "type") != "hidden" && attribute(n, "value") != "" ||
				n.Data == "textarea" && wordsOf(n) != ""
			if typed {
				t.Errorf("%s: %q is typed already", v.Step.GetStepId(), accessibleName(n))
			}
		})
		checkEqualTiles(t, v, doc)
	})
}

// checkEqualTiles finds answers that do not look like those beside them, and holds
// them to the order of the catalogue.
func checkEqualTiles(t *testing.T, v *round.View, doc *html.Node) {
	t.Helper()
	var tiles []*html.Node
	walkNodes(doc, func(n *html.Node) {
		name := attribute(n, "name")
		if n.Data == "button" && (name == "condition" || name == "fraction") && !hasClass(n, "t15") {
			tiles = append(tiles, n)
		}
	})
	for i, tile := range tiles {
		if attribute(tile, "class") != attribute(tiles[0], "class") {
			t.Errorf("%s: %q looks other than %q", v.Step.GetStepId(), accessibleName(tile), accessibleName(tiles[0]))
		}
		if choices := v.Step.Entry.Choices; v.Step.Entry.Kind == pb.AnswerKind_ANSWER_KIND_CONDITION && accessibleName(tile) != choices[i].Condition.GetText() {
			t.Errorf("%s: tile %d is %q, want %q", v.Step.GetStepId(), i, accessibleName(tile), choices[i].Condition.GetText())
		}
	}
}

// The former answer is seen only after today's: whatever it was, the page of a
// step looks the same.
func TestLaw_FormerAnswerChangesNothing(t *testing.T) {
	freshSteps(t, func(t *testing.T, v *round.View) {
		_, with := regionsOf(t, v)
		for _, secret := range []string{"7.7731", formerNote} {
			if strings.Contains(with, secret) {
				t.Errorf("%s shows %q of the former answer", v.Step.GetStepId(), secret)
			}
		}
		without := *v
		step := *v.Step
		step.CheckStep = proto.Clone(v.Step.CheckStep).(*pb.CheckStep)
		step.Last = nil
		without.Step = &step
		if _, html := regionsOf(t, &without); html != with {
			t.Errorf("%s looks different when there is a former answer", v.Step.GetStepId())
		}
	})
}

// After the answer the former one stands beside it.
func TestTablet_FormerAnswerStandsBesideTodays(t *testing.T) {
	_, html := regionsOf(t, sampleViews(t)["reading-typed"])
	for _, want := range []string{"8.0 bar", "before 7.9 bar, 18 Nov"} {
		if !strings.Contains(html, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

// A page with nothing to record offers no answer.
func TestTablet_RecoveryOffersNoAnswer(t *testing.T) {
	doc, words := regionsOf(t, sampleViews(t)["recovery"])
	walkNodes(doc, func(n *html.Node) {
		if n.Data == "button" && accessibleName(n) != "TURNOUT" {
			t.Errorf("%q can be pressed", accessibleName(n))
		}
	})
	if !strings.Contains(words, "3 entries are missing") {
		t.Error("why nothing can be recorded is not said")
	}
}

// A step that waits for a cold engine cannot be answered, only left.
func TestTablet_ColdStepIsDeferred(t *testing.T) {
	doc, _ := regionsOf(t, sampleViews(t)["waits-cold"])
	walkNodes(doc, func(n *html.Node) {
		if act := attribute(n, "value"); n.Data == "input" && attribute(n, "name") == "act" {
			for _, answer := range []string{"key", "enter", "record", "level", "see", "confirm"} {
				if act == answer {
					t.Errorf("the act %q is offered", act)
				}
			}
		}
	})
}

func TestTablet_EveryTagIsClosed(t *testing.T) {
	void := map[string]bool{"img": true, "input": true, "br": true, "meta": true, "link": true}
	for name, v := range sampleViews(t) {
		regions, err := tabletRegions(v, Display{TabletMMPerPX: smallTabletMMPerPX})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range regions {
			if wrong := unclosed(r.HTML, void); wrong != "" {
				t.Errorf("%s, %s: %s", name, r.ID, wrong)
			}
		}
	}
}

// unclosed says which tag of a piece of HTML is closed by another one's end, or not at all.
func unclosed(text string, void map[string]bool) string {
	tokens := html.NewTokenizer(strings.NewReader(text))
	var open []string
	for {
		switch kind := tokens.Next(); kind {
		case html.ErrorToken:
			if len(open) > 0 {
				return fmt.Sprintf("%v is not closed", open)
			}
			return ""
		case html.StartTagToken:
			if name, _ := tokens.TagName(); !void[string(name)] {
				open = append(open, string(name))
			}
		case html.EndTagToken:
			name, _ := tokens.TagName()
			if len(open) == 0 || open[len(open)-1] != string(name) {
				return fmt.Sprintf("</%s> ends %v", name, open)
			}
			open = open[:len(open)-1]
		}
	}
}
