package main

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
	"bayround/internal/roundrecord"
)

const defectHelp = `Look after the defects of the vehicles, from being found to being closed.

  list          the defects, newest found first
  show          one defect: its history, and whether it may wait
  acknowledge   the workshop answers who reported it, with a date
  defer         an officer lets it wait, under limits and until a day
  end-deferral  a deferral ends before its time
  rectify       the workshop records what it did; the step must then be checked again
  stop          stop a vehicle, at once; anybody may
  release       a second person releases a stopped vehicle after its repair
  figures       how many are open, for how long, and how long they take

A defect is named as list shows it, for instance wn11/3f2a9c.`

const defectListHelp = `List defects, newest found first; those that are not closed when nothing is said.
A fault that came back is listed once, with how often it came back.`

const defectShowHelp = `Show one defect: what was found, who reported it and who answered, what was done, its earlier
lives, and whether it may wait; of a stopped vehicle, what its release wants. --photos-to writes
its photos to a folder.`

const defectFiguresHelp = `Say how many defects are open and how old they are, how many came back, and how long it took
from being found to the workshop's answer and to the repair.`

func newDefect(c *console) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "defect",
		Short:   "Look after defects: answer, defer, repair, stop, release",
		Long:    defectHelp,
		Example: "  server defect list\n  server defect stop wn11 --person arkwith --reason \"it pulls to the left\"",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newDefectList(c), newDefectShow(c), newDefectFigures(c), newDefectAcknowledge(c), newDefectDefer(c),
		newDefectEndDeferral(c), newDefectRectify(c), newDefectStop(c), newDefectRelease(c))
	return cmd
}

// defectName completes the name of a defect: wn11/3f2a9c is vehicles/wn11/defects/3f2a9c.
func defectName(text string) string {
	vehicle, id, found := strings.Cut(text, "/")
	if !found || strings.Contains(id, "/") {
		return text // a whole name, or one that the station refuses in its own words
	}
	return inCollection("vehicles", vehicle) + "/defects/" + id
}

type defectListFlags struct {
	server, vehicle, station, state, grade, reporter, output string
}

func newDefectList(c *console) *cobra.Command {
	var f defectListFlags
	cmd := &cobra.Command{
		Use:     "list",
		Short:   "List defects",
		Long:    defectListHelp,
		Example: "  server defect list --vehicle wn11\n  server defect list --state closed --reporter arkwith",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := tableOrJSON(f.output); err != nil {
				return err
			}
			req := &pb.ListDefectsRequest{PageSize: 200, Station: inCollection("stations", f.station), Reporter: inCollection("people", f.reporter)}
			if err := f.fill(req); err != nil {
				return err
			}
			return c.asking(f.server, func(s *remote) (err error) {
				if req.Vehicle, err = s.vehicleMeant(cmd.Context(), f.vehicle); err != nil {
					return err
				}
				return s.listDefects(cmd.Context(), c, req, f.output)
			})
		},
	}
	serverFlag(cmd, &f.server)
	cmd.Flags().StringVar(&f.vehicle, "vehicle", "", "only of this vehicle")
	cmd.Flags().StringVar(&f.station, "station", "", "only of vehicles whose home this station is")
	cmd.Flags().StringVar(&f.state, "state", "", "only open, acknowledged, deferred, rectified or closed ones")
	cmd.Flags().StringVar(&f.grade, "grade", "", "only minor, major or dangerous ones")
	cmd.Flags().StringVar(&f.reporter, "reporter", "", "only those that this person found first")
	cmd.Flags().StringVarP(&f.output, "output", "o", "table", "table or json")
	return cmd
}

// fill puts words of the command line into a request.
func (f defectListFlags) fill(req *pb.ListDefectsRequest) error {
	if f.state != "" {
		state := pb.DefectState_value["DEFECT_STATE_"+strings.ToUpper(f.state)]
		if state == 0 {
			return command.Misuse("--state %q: say open, acknowledged, deferred, rectified or closed", f.state)
		}
		req.States = []pb.DefectState{pb.DefectState(state)}
	}
	if f.grade != "" {
		grade := pb.Grade_value["GRADE_"+strings.ToUpper(f.grade)]
		if grade == 0 {
			return command.Misuse("--grade %q: say minor, major or dangerous", f.grade)
		}
		req.Grade = pb.Grade(grade)
	}
	return nil
}

func (s *remote) listDefects(ctx context.Context, c *console, req *pb.ListDefectsRequest, output string) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	all := &pb.ListDefectsResponse{}
	err := pages(func(token string) (string, error) {
		req.PageToken = token
		resp, err := s.defects.ListDefects(ctx, req)
		all.Defects = append(all.Defects, resp.GetDefects()...)
		return resp.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	if output == "json" {
		return c.sayMessage(all, output)
	}
	c.defectTable(all.GetDefects(), time.Now())
	return nil
}

// defectTable prints one row for each defect.
func (c *console) defectTable(all []*pb.Defect, now time.Time) {
	if len(all) == 0 {
		c.Say("no such defect")
		return
	}
	rows := [][]string{{"DEFECT", "GRADE", "STATE", "FOUND", "BY", "STEP", "PHOTOS", "WHAT"}}
	for _, d := range all {
		rows = append(rows, []string{
			roundrecord.DefectID(d), gradeOfDefect(d), stateWords(d, now), instant(d.GetFirstFound().AsTime(), now), lastPart(d.GetFoundBy()),
			cmp.Or(d.GetStepId(), "-"), strconv.Itoa(len(d.GetPhotos())), clipped(whatWords(d)),
		})
	}
	c.columns(rows)
}

// gradeOfDefect is the grade of the worst finding in a word.
func gradeOfDefect(d *pb.Defect) string {
	worst := pb.Grade_GRADE_UNSPECIFIED
	for _, f := range d.GetFindings() {
		worst = max(worst, f.GetGrade())
	}
	return strings.ToLower(strings.TrimPrefix(worst.String(), "GRADE_"))
}

// whatWords is what was found, and whether it came back.
func whatWords(d *pb.Defect) string {
	words := "nobody knows what"
	if len(d.GetFindings()) > 0 {
		words = d.GetFindings()[0].GetText()
	}
	if n := d.GetRepeats(); n > 0 {
		words = fmt.Sprintf("repeat %d: %s", n, words)
	}
	return words
}

// stateWords is where a defect stands, with the date that belongs to it.
func stateWords(d *pb.Defect, now time.Time) string {
	switch d.GetState() {
	case pb.DefectState_DEFECT_STATE_ACKNOWLEDGED:
		return "acknowledged, by " + instant(d.GetAcknowledgement().GetPlanned().AsTime(), now)
	case pb.DefectState_DEFECT_STATE_DEFERRED:
		return "deferred until " + instant(d.GetDeferral().GetExpires().AsTime(), now)
	case pb.DefectState_DEFECT_STATE_RECTIFIED:
		return "repaired, to be checked"
	case pb.DefectState_DEFECT_STATE_CLOSED:
		return "closed " + instant(d.GetClosed().AsTime(), now)
	}
	if d.GetDeferral() != nil {
		return "open, deferral is over"
	}
	return "open"
}

func newDefectShow(c *console) *cobra.Command {
	var address, photosTo, output string
	cmd := &cobra.Command{
		Use:     "show DEFECT",
		Short:   "Show one defect",
		Long:    defectShowHelp,
		Example: "  server defect show wn11/3f2a9c\n  server defect show wn11/3f2a9c --photos-to .",
		Args:    exactlyOne("name one defect, for instance wn11/3f2a9c"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := tableOrJSON(output); err != nil {
				return err
			}
			return c.asking(address, func(s *remote) error {
				ctx, cancel := patiently(cmd.Context())
				defer cancel()
				resp, err := s.defects.GetDefect(ctx, &pb.GetDefectRequest{Name: defectName(args[0])})
				if err != nil {
					return err
				}
				if photosTo != "" {
					if err := s.savePhotos(cmd.Context(), c, photosTo, resp.GetDefect().GetPhotos()); err != nil {
						return err
					}
				}
				if output == "json" {
					return c.sayMessage(resp, output)
				}
				c.defectSheet(resp, time.Now())
				return nil
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVar(&photosTo, "photos-to", "", "write its photos to this folder")
	cmd.Flags().StringVarP(&output, "output", "o", "table", "table or json")
	return cmd
}

// savePhotos writes photos to a folder. One that its tablet has not sent yet is told.
func (s *remote) savePhotos(ctx context.Context, c *console, folder string, sums []string) error {
	photos := pb.NewPhotoServiceClient(s.conn)
	for _, sum := range sums {
		ctx, cancel := patiently(ctx)
		got, err := photos.GetPhoto(ctx, &pb.GetPhotoRequest{Sha256: sum})
		cancel()
		if absent(err) {
			c.Complain("photo %s is not at the station yet", sum)
			continue
		}
		if err != nil {
			return err
		}
		_, kind, _ := strings.Cut(got.GetMediaType(), "/")
		if err := os.WriteFile(filepath.Join(folder, sum+"."+kind), got.GetContent(), 0o600); err != nil {
			return err
		}
	}
	return nil
}

// defectSheet prints everything that is known of a defect.
func (c *console) defectSheet(resp *pb.GetDefectResponse, now time.Time) {
	d := resp.GetDefect()
	at := func(t *timestamppb.Timestamp) string { return instant(t.AsTime(), now) }
	rows := [][]string{
		{"defect", roundrecord.DefectID(d)},
		{"what", whatWords(d)},
		{"grade", gradeOfDefect(d)},
		{"step", cmp.Or(d.GetStepId(), "-")},
		{"state", stateWords(d, now)},
		{"found", fmt.Sprintf("%s by %s, %s, last %s", at(d.GetFirstFound()), lastPart(d.GetFoundBy()), count(int(d.GetTimesFound()), "time"), at(d.GetLastFound()))},
	}
	add := func(head, format string, with ...any) {
		rows = append(rows, []string{head, strings.TrimSpace(fmt.Sprintf(format, with...))})
	}
	for _, step := range d.GetStop().GetStepIds() {
		add("check again", "%s", step)
	}
	if a := d.GetAcknowledgement(); a != nil {
		add("answer", "%s: by %s. %s", lastPart(a.GetPerson()), at(a.GetPlanned()), a.GetNote())
	}
	if f := d.GetDeferral(); f != nil {
		add("deferral", "until %s by %s: %s", at(f.GetExpires()), lastPart(f.GetPerson()), f.GetReason())
		for _, l := range f.GetRestrictions() {
			add("limit", "%s", l.GetText())
		}
		if f.GetEnded() != nil {
			add("ended", "%s %s: %s", at(f.GetEnded()), byWords(f.GetEndedBy()), f.GetEndedBecause())
		}
	}
	rows = append(rows, repairRows("repair", d.GetRepair(), now)...)
	for _, e := range d.GetEarlier() {
		add("before", "found %s", at(e.GetFirstFound()))
		rows = append(rows, repairRows("repaired", e.GetRepair(), now)...)
		if e.GetRepair() != nil && e.GetClosed() == nil {
			add("but", "that repair did not hold")
		}
	}
	for _, p := range d.GetPhotos() {
		add("photo", "%s", p)
	}
	switch {
	case d.GetRelease() != nil:
		add("released", "%s %s: %s", at(d.GetRelease().GetStationTime()), byWords(d.GetRelease().GetPerson()), d.GetRelease().GetChecked())
	case d.GetState() == pb.DefectState_DEFECT_STATE_CLOSED:
		add("closed", "%s %s", at(d.GetClosed()), byWords(d.GetClosedBy()))
	case d.GetStop() != nil:
		add("release", "%s", cmp.Or(resp.GetReleaseMissing(), "whoever did not repair it may release the vehicle"))
		fallthrough
	default:
		add("may wait", "%s", rightWords(resp.GetRight(), now))
	}
	for _, other := range resp.GetRight().GetTogetherWith() {
		add("together with", "%s", other)
	}
	c.columns(rows)
}

// byWords say who did something; nobody, where it came about by itself.
func byWords(person string) string {
	if person == "" {
		return "by itself"
	}
	return "by " + lastPart(person)
}

func repairRows(head string, r *pb.Repair, now time.Time) [][]string {
	if r == nil {
		return nil
	}
	words := fmt.Sprintf("%s by %s: %s", instant(r.GetStationTime().AsTime(), now), cmp.Or(r.GetDoneBy(), lastPart(r.GetPerson())), r.GetDone())
	if len(r.GetParts()) > 0 {
		words += " (" + strings.Join(r.GetParts(), ", ") + ")"
	}
	return [][]string{{head, words}}
}

// rightWords say whether a defect may wait.
func rightWords(r *pb.DeferralRight, now time.Time) string {
	if !r.GetAllowed() {
		return "no: " + r.GetWhyNot()
	}
	words := fmt.Sprintf("%s, until %s", count(int(r.GetDays()), "day"), instant(r.GetLatest().AsTime(), now))
	if r.GetLatestExtended() != nil {
		words += ", extended by the duty officer until " + instant(r.GetLatestExtended().AsTime(), now)
	}
	return words
}
