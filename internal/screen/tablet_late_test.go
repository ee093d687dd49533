package screen

import (
	"testing"

	"bayround/internal/round"

	"golang.org/x/net/html"
)

// The step for which it was drawn goes with every form that answers one, also
// without a script: a POST that comes late must not answer the next step.
func TestLaw_EveryAnswerSaysWhichStepItIsMeantFor(t *testing.T) {
	answering := map[string]bool{}
	freshSteps(t, func(t *testing.T, v *round.View) {
		for i := range v.Step.Entry.Choices {
			v.Step.Entry.Choices[i].Chosen, v.Step.Entry.Choices[i].Of = true, v.Step.GetAlike() // what can be said of a fault is said in a form of its own
		}
		v.Step.Entry.Proof = &round.Proof{Question: "What stands above the door?"}
		doc, _ := regionsOf(t, v)
		walkNodes(doc, func(n *html.Node) {
			fields := hidden(n)
			if n.Data != "form" || drawnFor(n) != v.Step.GetStepId() {
				return
			}
			if len(fields["at"]) != 1 || fields["at"][0] != v.Step.GetStepId() {
				t.Errorf("at %s the form of %v says it is meant for %v", v.Step.GetStepId(), fields["act"], fields["at"])
			}
			for _, act := range fields["act"] {
				answering[act] = true
			}
		})
	})
	for _, act := range []string{"field", "key", "section", "level", "see", "count", "note", "enter", "record", "skip", "proof"} {
		if !answering[act] {
			t.Errorf("no form of %q was seen", act)
		}
	}
}

// hidden are the hidden fields of a form.
func hidden(form *html.Node) map[string][]string {
	fields := map[string][]string{}
	if form.Data != "form" {
		return fields
	}
	walkNodes(form, func(n *html.Node) {
		if n.Data == "input" && attribute(n, "type") == "hidden" {
			fields[attribute(n, "name")] = append(fields[attribute(n, "name")], attribute(n, "value"))
		}
	})
	return fields
}

// drawnFor is what a node is about.
func drawnFor(n *html.Node) string {
	for ; n != nil; n = n.Parent {
		if at := attribute(n, "data-at"); at != "" {
			return at
		}
	}
	return ""
}
