package station

import (
	"fmt"
	"time"

	pb "bayround/proto/bayround/v1"
)

// Survey is what a record holds, told in short.
type Survey struct {
	Newest  time.Time            // station time of its newest event; zero when there is none to read
	Photos  []string             // names of the photos that its results speak of, sorted
	Devices map[string]time.Time // devices that fed it, and the station time of the newest event of each
}

// SurveyFile reads through a record file.
func SurveyFile(name string) (Survey, error) {
	s, photos := Survey{Devices: map[string]time.Time{}}, map[string]bool{}
	err := eachCommand(name, func(first uint64, cmd *pb.RecordCommand) error {
		return s.take(first, cmd, photos)
	})
	if err != nil {
		return Survey{}, fmt.Errorf("%s: %w", name, err)
	}
	s.Photos = sortedKeys(photos)
	return s, nil
}

// take takes in one command.
func (s *Survey) take(first uint64, cmd *pb.RecordCommand, photos map[string]bool) error {
	for i, kept := range cmd.GetEvents() {
		if kept.GetLeafHash() != nil {
			continue
		}
		ev, err := parseEvent(first+uint64(i), kept.GetRecord())
		if err != nil {
			return err
		}
		s.note(ev)
		for _, name := range ev.GetResultRecorded().GetResult().GetPhotos() {
			photos[name] = true
		}
	}
	return nil
}

// note takes in when an event was, and of which device.
func (s *Survey) note(ev *pb.JournalEvent) {
	s.Newest = later(s.Newest, ev.GetStationTime().AsTime())
	if ev.GetDevice() != "" {
		s.Devices[ev.GetDevice()] = ev.GetStationTime().AsTime()
	}
}
