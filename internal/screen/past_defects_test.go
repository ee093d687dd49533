package screen

import (
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// The page of one defect says where it stands, what it needs next and whose turn it is,
// and what happened, by whom and when. Source: the life of a defect as the contract says
// it (DefectService), the words of the sample.
func TestDefectPage_SaysWhatComesNextAndByWhom(t *testing.T) {
	a := sampleArchive(t)
	k := servePast(t, a, inRound(t), "day")
	for id, want := range map[string][]string{
		"open":      {"No answer yet, since 22 Nov 07:42 (3 days)", "The workshop answers the reporter with a date", "An officer cannot let it wait: it is dangerous", "Found by Tamsel Arkwith."},
		"planned":   {"Expected by 26 Nov 13:42", "The workshop repairs it, expected by 26 Nov 13:42", "Jun Steddow of the workshop: expected by 26 Nov 13:42. The buckle is on order.", "First answered by the workshop."},
		"deferred":  {"It may wait until 23:42, under: five riders at most, none on crew seat 3", "In force while it waits", "The workshop repairs it before 23:42. From that second on it waits no longer: not to respond until put right.", "Lunet Osgarry let it wait until 23:42", "Its interval was extended once."},
		"rectified": {"Repaired. It waits to be checked again.", "The next driver checks the step again.", "It came back 2 times. Repaired 6 Nov 07:42: pumped up, no fault found.", "Repaired by the tyre fitter, recorded by Jun Steddow: valve cap replaced.", "Fitted: valve insert, rear inner."},
		"stopped":   {"The workshop repairs it and records what it did.", "Then another person checks it again and releases the vehicle.", "Tamsel Arkwith stopped the vehicle: the steering has play, pulls or binds."},
		"closed":    {"Put right and closed.", "Found sound by Isra Venholt and closed."},
	} {
		said := strings.Join(strings.Fields(spaced(pastPage(t, k, "/defects/wn11/"+id, http.StatusOK))), " ")
		for _, words := range want {
			if !strings.Contains(said, words) {
				t.Errorf("%s: does not say %q:\n%s", id, words, said)
			}
		}
		if next := strings.Contains(said, "What it needs next"); next == (id == "closed") {
			t.Errorf("%s: says what comes next: %t", id, next)
		}
	}
	list := strings.Join(strings.Fields(spaced(pastPage(t, k, "/defects/wn11", http.StatusOK))), " ")
	for _, words := range []string{"5 open defects, 2 without an answer, 1 may wait, 1 repaired and to be checked", "half within 5 h 30 min, nine in ten within 26 h, the longest 2 days (of 16)", "3 of 21 found since 27 Aug", "Closed last", "2 dangerous"} {
		if !strings.Contains(list, words) {
			t.Errorf("the list does not say %q:\n%s", words, list)
		}
	}
	for _, path := range []string{"/defects/wn11/none", "/defects/wn99", "/defects/wn11/UPPER"} {
		pastPage(t, k, path, http.StatusNotFound)
	}
}

// A repair that did not hold is said to be one, on the defect's page and where the defect is
// asked about; one that held until the fault came back is not. Source: the life of a defect
// as the contract says it (EarlierDefect.closed).
func TestCameBack_SaysWhichRepairsDidNotHold(t *testing.T) {
	p := pane{baseView(t), Display{}}
	d := sampleDefects(t)["rectified"]
	d.Repeats = 2
	d.Earlier = []*pb.EarlierDefect{
		{Repair: &pb.Repair{Done: "pad turned.", StationTime: ago(40 * time.Hour)}},
		{Repair: &pb.Repair{Done: "pad cleaned", StationTime: ago(400 * time.Hour)}, Closed: ago(399 * time.Hour)},
	}
	const want = "It came back 2 times. Repaired 23 Nov 15:42: pad turned; it did not hold. Repaired 8 Nov 15:42: pad cleaned."
	if got := p.cameBack(d); got != want {
		t.Errorf("on its page:\n%s\nwant\n%s", got, want)
	}
	if lines := p.KnownLines(round.KnownDefect{Defect: d}).Lines; !slices.Contains(lines, want) {
		t.Errorf("where it is asked about: %q", lines)
	}
}

// Whoever repairs is told when what was promised is overdue; who may let it wait, until when.
func TestNextLines_OverdueAndDeferrable(t *testing.T) {
	p := pane{baseView(t), Display{}}
	d := sampleDefects(t)["planned"]
	d.Acknowledgement.Planned = ago(1)
	lines := p.NextLines(&pb.GetDefectResponse{Defect: d, Right: &pb.DeferralRight{Allowed: true, NeedsRestriction: true, Latest: ago(-1)}})
	if !strings.Contains(lines[0].What, "overdue") || !strings.HasSuffix(lines[1].What, "at the latest, under a limit.") {
		t.Errorf("%+v", lines)
	}
	stop := sampleDefects(t)["stopped"]
	stop.State = pb.DefectState_DEFECT_STATE_RECTIFIED
	for missing, want := range map[string]string{"": "Checks it again and releases the vehicle.", "not found sound since the repair": "Not found sound since the repair."} {
		if lines := p.NextLines(&pb.GetDefectResponse{Defect: stop, ReleaseMissing: missing}); len(lines) != 1 || lines[0].What != want {
			t.Errorf("missing %q: %+v", missing, lines)
		}
	}
}

// spaced is what is read of an element, its texts apart.
func spaced(n *html.Node) string {
	if n.Type == html.TextNode {
		return n.Data + " "
	}
	var all strings.Builder
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		all.WriteString(spaced(c))
	}
	return all.String()
}
