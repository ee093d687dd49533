package verdict

import (
	"fmt"
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// message turns a way into what is sent.
func (y way) message(in *Input, w walk) *pb.WayBack {
	m := &pb.WayBack{LeadsTo: y.leadsTo, AnswerSteps: y.answers, Text: y.say(in, w)}
	for _, d := range y.repairs {
		m.RepairDefects = append(m.RepairDefects, d.GetName())
	}
	return m
}

// say tells what is to be done, in words a driver understands.
func (y way) say(in *Input, w walk) string {
	var acts []string
	repairs := slices.DeleteFunc(slices.Clone(y.repairs), awaitsRelease)
	if len(repairs) > 0 {
		acts = append(acts, "Repair and check again: "+nameFirst(saidDefects(repairs, w)))
	}
	if releases := slices.DeleteFunc(slices.Clone(y.repairs), isOpen); len(releases) > 0 {
		acts = append(acts, "Have a second person check again and release: "+nameFirst(saidDefects(releases, w)))
	}
	if len(y.answers) > 0 {
		titles := make([]string, len(y.answers))
		for i, step := range y.answers {
			titles[i] = titleOf(in, step, w)
		}
		acts = append(acts, checkSteps(len(titles))+nameFirst(titles))
	}
	text := strings.Join(acts, ". ") + ". " + thenIt(y.leadsTo) + "."
	if !y.shortest {
		text = "One way, and there may be a shorter one. " + text
	}
	return text
}

// saidDefects names defects by the worst that was found.
func saidDefects(defects []*pb.Defect, w walk) []string {
	said := make([]string, len(defects))
	for i, d := range defects {
		said[i] = w.title(d.GetStepId())
		if len(d.GetFindings()) > 0 {
			// What was found is a sentence of its own; here it is part of one.
			said[i] = strings.TrimSuffix(w.describe(slices.MinFunc(d.GetFindings(), compareFindings)), ".")
		}
	}
	return said
}

// titleOf names a step; one that is not required as its takeover does, or by what was
// found there.
func titleOf(in *Input, step string, w walk) string {
	if _, required := w.at[step]; required {
		return w.title(step)
	}
	if title := in.Takeover.title(step); title != "" {
		return title
	}
	var about []*pb.Defect
	for _, d := range in.Defects {
		if d.GetStepId() == step && !isClosed(d) {
			about = append(about, d)
		}
	}
	if len(about) == 0 {
		return step
	}
	return titleOfRepaired(slices.MinFunc(about, w.compareDefects))
}

// checkSteps begins the sentence about steps to be answered.
func checkSteps(n int) string {
	if n == 1 {
		return "Check and find sound: "
	}
	return fmt.Sprintf("Check %d steps and find them sound: ", n)
}

// thenIt ends the sentence with what the verdict allows.
func thenIt(v pb.Verdict) string {
	switch v {
	case pb.Verdict_VERDICT_FIT:
		return "Then it may respond"
	case pb.Verdict_VERDICT_RESTRICTED:
		return "Then it may respond under limits"
	case pb.Verdict_VERDICT_MOVE_ONLY:
		return "Then it may be driven to repair, and must not respond"
	default:
		return "Then nothing dangerous is known, but it must still be proven"
	}
}
