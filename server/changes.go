package main

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"google.golang.org/grpc"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// changing is one message of an answer that tells verdicts which would have been
// others, and then how much was gone through.
type changing interface {
	GetChange() *pb.VerdictChange
	GetDone() *pb.Rejudged
}

// changes prints what a stream tells of verdicts that would have been others, and
// sums it up.
func changes[M any, T interface {
	*M
	changing
}](c *console, stream grpc.ServerStreamingClient[M],
) error {
	var all []*pb.VerdictChange
	defer c.working("the station goes through its record")()
	for {
		message, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return errors.New("the station ended its answer before it was whole; ask again")
		}
		if err != nil {
			return err
		}
		if change := T(message).GetChange(); change != nil {
			all = append(all, change)
		}
		if done := T(message).GetDone(); done != nil {
			c.changeTable(all, time.Now())
			c.Say("%s", changeWords(all, done))
			return nil
		}
	}
}

// changeTable prints one row for each verdict that would have been another.
func (c *console) changeTable(all []*pb.VerdictChange, now time.Time) {
	if len(all) == 0 {
		return
	}
	rows := [][]string{{"WHEN", "VEHICLE", "WAS", "WOULD HAVE BEEN", "BECAUSE"}}
	for _, change := range all {
		rows = append(rows, []string{
			instant(change.GetAt().AsTime(), now), lastPart(change.GetVehicle()), verdict.OneLine(verdict.Words(change.GetWas())),
			verdict.OneLine(verdict.Words(change.GetWouldBe())), clipped(becauseOf(change)),
		})
	}
	c.columns(rows)
	c.Say("")
}

// becauseOf is why a verdict would have been another: the worst finding that would
// have come, or else the worst that would not have been, and how many more.
func becauseOf(change *pb.VerdictChange) string {
	words, more := "the rules would have said the same of each answer", 0
	switch {
	case len(change.GetCome()) > 0:
		words, more = change.GetCome()[0].GetText(), len(change.GetCome())+len(change.GetGone())-1
	case len(change.GetGone()) > 0:
		words, more = "not: "+change.GetGone()[0].GetText(), len(change.GetGone())-1
	}
	if more > 0 {
		words = fmt.Sprintf("(and %d more) %s", more, words)
	}
	return words
}

// changeWords sums up what was gone through.
func changeWords(all []*pb.VerdictChange, done *pb.Rejudged) string {
	worse := 0
	for _, change := range all {
		if change.GetWouldBe() > change.GetWas() {
			worse++
		}
	}
	verdicts := "no verdict would have been another"
	if len(all) > 0 {
		verdicts = fmt.Sprintf("%s would have been others, %d of them worse", count(len(all), "verdict"), worse)
	}
	return fmt.Sprintf("%s; %s judged anew in %s, findings differ at %d",
		verdicts, count(int(done.GetResults()), "answer"), count(int(done.GetEvents()), "event"), done.GetDiffering())
}

// lastPart is the last part of a resource name, for tables.
func lastPart(name string) string { return name[strings.LastIndex(name, "/")+1:] }
