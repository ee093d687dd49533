package catalogue

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"unicode/utf8"
)

// broken are files that are wrong in ways which have been worth a thought.
var broken = []string{
	"", "#", "---\n---\n", "a: &a [*a]\n", "a: &a {<<: *a}\n", "? ? ?\n", "- - - - -\n", "\ufeffpeople: []\n", "%YAML 1.2\n---\npeople: []\n", "%TAG ! !a\n---\nx: !b\n",
	"people: [{name: people/a, title: A, roles: [ROLE_DRIVER]}]\n", "people:\n  - name: |\n      people/a\n    title: >-\n      A\n",
	"people: !!binary aGVsbG8=\n", "1: 2\n", "catalogue:\n  items:\n    - id: FLU-010\n      conditions:\n        - {id: a, sound: true, fault: FLU-010-01}\n",
	"vehicles:\n  - {name: vehicles/a, call_sign: A, gross_mass_kg: 1e309, axles: [{x_m: -0}]}\n", "catalogue: {items: [{good_for: 1e9h}]}\n",
	"stations: [{altitude_m: 0x1p-2}]\n", "gauges: [{calibration_due: 0001-01-01T00:00:00Z}]\n", "a: \"\\ud800\"\n", "a: b\u2028c: d\n", "x: " + strings.Repeat("[", 200),
	"rule_packs:\n  - name: packs/a\n  - name: packs/a\n", "catalogue: {version: a}\nroutines: [{name: catalogue}]\n",
	"catalogue: {version: a, circuits: [{id: a, not_with: [a, b]}, {id: a}, {}], items: [{state: {lamps_lit: [c, \"\"]}}]}\n",
	"catalogue: {version: a, walk_times: {speed_m_per_s: 1e-400, kneel: {seconds: -0}}}\n",
}

// head is the first two thousand bytes or so of a file, to the end of a line.
func head(content []byte) []byte {
	const enough = 2000
	if len(content) <= enough {
		return content
	}
	rest, _, _ := bytes.Cut(content[enough:], []byte("\n"))
	return content[:enough+len(rest)]
}

// FuzzLoad holds what the package comment promises of any bytes: Load comes
// back, with everything or with problems that can be found in the file.
func FuzzLoad(f *testing.F) {
	for _, file := range Defaults() {
		f.Add(head(file.Content)) // the whole would be too much for the fuzzer to chew on
	}
	for _, content := range []string{soundCatalogue, walked, soundPack, soundVehicle, soundCatalogue + soundPack + soundVehicle} {
		f.Add([]byte(content))
	}
	for _, content := range broken {
		f.Add([]byte(content))
	}
	f.Add([]byte(strings.NewReplacer(later("LMP-010, FLU-010, XYZ-001", "TYR-010", "FLU-010, LMP-010")...).Replace(soundCatalogue)))
	conditions, helped := beside("{id: low, text: low, sound: true}, {id: low, text: low, fault: FLU-010-01}"), assisted("{", "}")
	f.Add([]byte(strings.NewReplacer(append(conditions, helped...)...).Replace(soundCatalogue)))
	f.Fuzz(func(t *testing.T, content []byte) {
		loaded, err := Load([]File{{Name: "f.yaml", Content: content}})
		if err == nil {
			loaded.Check(library(loaded, nil))
			return
		}
		problems, ok := errors.AsType[Problems](err)
		if !ok || len(problems) == 0 || loaded != nil {
			t.Fatalf("refused with %T %v and %v beside it", err, err, loaded)
		}
		lines := 1 + strings.Count(string(content), "\n")
		for _, p := range problems {
			if p.File != "f.yaml" || p.Line < 1 || p.Line > lines+1 || p.Column < 1 || p.Wrong == "" {
				t.Errorf("a problem nobody can find in %d lines: %v", lines, p)
			}
			if !utf8.ValidString(p.String()) || strings.ContainsAny(p.String(), "\n\r") {
				t.Errorf("a problem nobody can print: %q", p)
			}
		}
	})
}

// FuzzPlace holds that any name and path lead to a place or to none.
func FuzzPlace(f *testing.F) {
	loaded, err := Load([]File{{Name: "f.yaml", Content: []byte(soundCatalogue + soundPack + soundVehicle)}})
	if err != nil {
		f.Fatal(err)
	}
	lines := 1 + strings.Count(soundCatalogue+soundPack+soundVehicle, "\n")
	for _, seed := range [][2]string{{"packs/a", "rules[0].when"}, {"catalogue", "items[99999999999999999999].id"}, {"vehicles/wn11", "axles[-1]..]["}, {"", ""}} {
		f.Add(seed[0], seed[1])
	}
	f.Fuzz(func(t *testing.T, name, path string) {
		file, line, column := loaded.Place(name, path)
		known := loaded.places[name] != nil
		if known && (file != "f.yaml" || line < 1 || line > lines || column < 1) || !known && (file != "" || line != 0 || column != 0) {
			t.Errorf("Place(%q, %q) = %s:%d:%d", name, path, file, line, column)
		}
	})
}
