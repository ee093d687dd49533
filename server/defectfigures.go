package main

import (
	"context"
	"fmt"
	"strconv"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

func newDefectFigures(c *console) *cobra.Command {
	var address, vehicle, station, since, output string
	cmd := &cobra.Command{
		Use:     "figures",
		Short:   "Say how many defects are open and how long they take",
		Long:    defectFiguresHelp,
		Example: "  server defect figures\n  server defect figures --vehicle wn11 --since 2026-01-01",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := tableOrJSON(output); err != nil {
				return err
			}
			from, err := dayOrInstant("since", since)
			if err != nil {
				return err
			}
			if from != nil && len(since) == len("2006-01-02") {
				from = timestamppb.New(from.AsTime().Local().AddDate(0, 0, -1)) // from the beginning of that day
			}
			return c.asking(address, func(s *remote) error {
				meant, err := s.vehicleMeant(cmd.Context(), vehicle)
				if err != nil {
					return err
				}
				return s.defectFigures(cmd.Context(), c, &pb.GetDefectFiguresRequest{
					Vehicle: meant, Station: inCollection("stations", station), Since: from,
				}, output)
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVar(&vehicle, "vehicle", "", "only of this vehicle")
	cmd.Flags().StringVar(&station, "station", "", "only of vehicles whose home this station is")
	cmd.Flags().StringVar(&since, "since", "", "times and repeats of what was found from this day on; empty for the last 90 days")
	cmd.Flags().StringVarP(&output, "output", "o", "table", "table or json")
	return cmd
}

func (s *remote) defectFigures(ctx context.Context, c *console, req *pb.GetDefectFiguresRequest, output string) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	figures, err := s.defects.GetDefectFigures(ctx, req)
	if err != nil {
		return err
	}
	if output == "json" {
		return c.sayMessage(figures, output)
	}
	c.Say("%s open: %d wait by an officer's leave, %d are repaired and to be checked, %d were answered by nobody",
		count(int(figures.GetOpen()), "defect"), figures.GetDeferred(), figures.GetRectified(), figures.GetUnanswered())
	rows := [][]string{{"AGE", "OPEN", "DANGEROUS", "MAJOR"}}
	for _, age := range figures.GetOpenByAge() {
		rows = append(rows, []string{ageWords(age), strconv.Itoa(int(age.GetDefects())), strconv.Itoa(int(age.GetDangerous())), strconv.Itoa(int(age.GetMajor()))})
	}
	c.columns(rows)
	c.Say("since %s: %s found, %s", figures.GetSince().AsTime().Local().Format("2 Jan 2006"), count(int(figures.GetFound()), "defect"), count(int(figures.GetRepeats()), "repeat"))
	times := [][]string{{"HOURS FROM BEING FOUND", "DEFECTS", "HALF WITHIN", "NINE IN TEN WITHIN", "LONGEST"}}
	for _, row := range []struct {
		name string
		of   *pb.DefectTimes
	}{{"to the workshop's answer", figures.GetToAcknowledge()}, {"to the repair", figures.GetToRectify()}} {
		times = append(times, []string{row.name, strconv.Itoa(int(row.of.GetDefects())), hoursWords(row.of, row.of.GetMedianH()), hoursWords(row.of, row.of.GetNineInTenH()), hoursWords(row.of, row.of.GetLongestH())})
	}
	c.columns(times)
	if of := figures.GetByVehicle(); len(of) > 1 {
		rows := [][]string{{"VEHICLE", "OPEN", "DANGEROUS", "MAJOR", "UNANSWERED", "FOUND", "REPEATS"}}
		for _, v := range of {
			row := []string{lastPart(v.GetVehicle())}
			for _, n := range []int32{v.GetOpen(), v.GetDangerous(), v.GetMajor(), v.GetUnanswered(), v.GetFound(), v.GetRepeats()} {
				row = append(row, strconv.Itoa(int(n)))
			}
			rows = append(rows, row)
		}
		c.columns(rows)
	}
	return nil
}

func hoursWords(of *pb.DefectTimes, hours float64) string {
	if of.GetDefects() == 0 {
		return "-"
	}
	return fmt.Sprintf("%.1f h", hours)
}

func ageWords(age *pb.DefectAge) string {
	switch {
	case age.GetUpToDays() == 0:
		return fmt.Sprintf("over %s", count(int(age.GetOverDays()), "day"))
	case age.GetOverDays() == 0:
		return fmt.Sprintf("up to %s", count(int(age.GetUpToDays()), "day"))
	}
	return fmt.Sprintf("%d to %s", age.GetOverDays(), count(int(age.GetUpToDays()), "day"))
}
