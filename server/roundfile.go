package main

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

// roundFile is a round file as it was read; see doc.go for what each word means.
type roundFile struct {
	file                                          string
	key, vehicle, routine, driver, helper, device string
	engineStopped                                 *time.Duration // ago; nil when nobody knows
	ambient                                       *float64
	gauges                                        map[pb.Quantity]string
	sound                                         bool
	nominal                                       map[string]amount // by item or item.part
	steps                                         map[string]*stepFile
	end, note                                     string
}

// Ways a round can end.
const (
	endFinish    = "finish"
	endGiveUp    = "give_up"
	endLeaveOpen = "leave_open"
)

// readRoundFile reads a round file from disk.
func readRoundFile(name string) (*roundFile, error) {
	content, err := os.ReadFile(name) //nolint:gosec // the person named it
	if err != nil {
		return nil, command.Misuse("reading the round: %w", err)
	}
	return parseRoundFile(name, content)
}

// parseRoundFile reads a round file. The error names every mistake with line and column.
func parseRoundFile(name string, content []byte) (*roundFile, error) {
	const usualStand = 12 * time.Hour
	stood, digest := usualStand, sha256.Sum256(content)
	r := &roundFile{
		file: name, key: hex.EncodeToString(digest[:]), device: "player-1", engineStopped: &stood,
		gauges: map[pb.Quantity]string{}, nominal: map[string]amount{}, steps: map[string]*stepFile{}, end: endFinish,
	}
	y := &yamlReader{file: name}
	if root := y.document(content); root != nil {
		r.read(y, root)
		r.complete(y, root)
	}
	return r, y.err()
}

func (r *roundFile) read(y *yamlReader, root *yaml.Node) {
	named := func(collection string, into *string) func(*yaml.Node) {
		return func(n *yaml.Node) { *into = inCollection(collection, y.text(n)) }
	}
	plain := func(into *string) func(*yaml.Node) { return func(n *yaml.Node) { *into = y.text(n) } }
	y.fields(root, map[string]func(*yaml.Node){
		"key": plain(&r.key), "device": plain(&r.device), "note": plain(&r.note),
		"vehicle": plain(&r.vehicle), "routine": named("routines", &r.routine),
		"driver": named("people", &r.driver), "assistant": named("people", &r.helper),
		"conditions": func(n *yaml.Node) { r.readConditions(y, n) },
		"gauges": func(n *yaml.Node) {
			y.entries(n, func(key, value *yaml.Node) { r.gauges[quantity(y, key)] = inCollection("gauges", y.text(value)) })
		},
		"answer": func(n *yaml.Node) { r.sound = y.oneOf(n, "sound", "nothing") == "sound" },
		"nominal": func(n *yaml.Node) {
			y.entries(n, func(key, value *yaml.Node) { r.nominal[key.Value] = y.amount(value) })
		},
		"steps": func(n *yaml.Node) {
			y.entries(n, func(key, value *yaml.Node) { r.steps[key.Value] = readStep(y, key, value) })
		},
		"end": func(n *yaml.Node) { r.end = y.oneOf(n, endFinish, endGiveUp, endLeaveOpen) },
	})
}

func (r *roundFile) readConditions(y *yamlReader, n *yaml.Node) {
	y.fields(n, map[string]func(*yaml.Node){
		"engine_stopped_ago": func(n *yaml.Node) {
			if n.Value == "unknown" {
				r.engineStopped = nil
				return
			}
			ago := y.duration(n)
			r.engineStopped = &ago
		},
		"ambient_celsius": func(n *yaml.Node) { celsius := y.number(n); r.ambient = &celsius },
	})
}

// complete notes what is missing.
func (r *roundFile) complete(y *yamlReader, root *yaml.Node) {
	for word, value := range map[string]string{"vehicle": r.vehicle, "routine": r.routine, "driver": r.driver, "key": r.key, "device": r.device} {
		if value == "" {
			y.wrong(root, "%s is missing", word)
		}
	}
	if r.end == endGiveUp && r.note == "" {
		y.wrong(root, "who gives a round up says why: note is missing")
	}
}

// quantity reads the name of a quantity as gauges measure it, for instance pressure.
func quantity(y *yamlReader, n *yaml.Node) pb.Quantity {
	number, known := pb.Quantity_value["QUANTITY_"+strings.ToUpper(n.Value)]
	if !known || number == 0 {
		y.wrong(n, "%q is no quantity; say for instance pressure, length, voltage or temperature", n.Value)
	}
	return pb.Quantity(number)
}

// at is a place in the file, to begin a message with.
func (r *roundFile) at(n *yaml.Node, format string, args ...any) string {
	return fmt.Sprintf("%s:%d:%d: %s", r.file, n.Line, n.Column, fmt.Sprintf(format, args...))
}
