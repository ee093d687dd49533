package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"bayround/internal/catalogue"
	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// openStation opens the station with the files that come with the program, and
// over them those of the folder --rules.
func openStation(ctx context.Context, c *console, f *serveFlags, logger *slog.Logger) (*station.Station, error) {
	options := station.Options{Dir: f.data, Now: time.Now, Logger: logger, Space: journal.Space{BallastBytes: journal.Ballast}}
	defaults, bad := startingFiles(f.rules)
	if bad == nil {
		options.Defaults = defaults
	}
	st, err := station.Open(ctx, options)
	if err != nil {
		return nil, fmt.Errorf("opening the station in %s: %w", f.data, err)
	}
	if bad == nil {
		return st, nil
	}
	c.Complain("the folder %s is not taken:\n%v", f.rules, bad)
	if !inForce(ctx, st) {
		refused := fault.New(fault.Invalid, "CONFIGURATION_REFUSED", "nothing is in force yet, and what was to be is wrong; mend it and start again")
		return nil, errors.Join(refused, st.Close())
	}
	c.Complain("what was in force before stays in force")
	return st, nil
}

// inForce reports whether the station has a catalogue to work by.
func inForce(ctx context.Context, st *station.Station) bool {
	_, err := st.GetCatalogue(ctx, &pb.GetCatalogueRequest{})
	return err == nil
}

// startingFiles are the files of the program with those of a folder over them: a
// file of the same name takes the other's place, any other joins. They are
// checked as a set; the error then names file, line and column.
func startingFiles(folder string) ([]catalogue.File, error) {
	files := catalogue.Defaults()
	if folder == "" {
		return files, nil
	}
	over, err := readFolder(folder)
	if err != nil {
		return nil, err
	}
	for _, file := range over {
		same := slices.IndexFunc(files, func(f catalogue.File) bool { return f.Name == file.Name })
		if same < 0 {
			files = append(files, file)
			continue
		}
		files[same] = file
	}
	if _, err := catalogue.Load(files); err != nil {
		return nil, err
	}
	return files, nil
}

// readFolder reads every YAML file of a folder and the folders in it, in the
// order of their names. Names are relative to the folder, with forward slashes.
func readFolder(folder string) ([]catalogue.File, error) {
	var files []catalogue.File
	err := filepath.WalkDir(folder, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || !isYAML(name) {
			return err
		}
		content, err := os.ReadFile(name) //nolint:gosec // the person named the folder
		if err != nil {
			return err
		}
		relative, err := filepath.Rel(folder, name)
		if err != nil {
			return err
		}
		files = append(files, catalogue.File{Name: filepath.ToSlash(relative), Content: content})
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("reading the folder %s: %w", folder, err)
	}
	return files, nil
}

// isYAML reports whether a file is read when its folder is named.
func isYAML(name string) bool {
	extension := strings.ToLower(path.Ext(name))
	return extension == ".yaml" || extension == ".yml"
}
