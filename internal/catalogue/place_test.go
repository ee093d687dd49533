package catalogue

import (
	"fmt"
	"testing"
)

func TestPlace(t *testing.T) {
	loaded, err := Load([]File{
		{Name: "b.yaml", Content: []byte(changed(t, soundPack, "r1", "r2"))},
		{Name: "a.yaml", Content: []byte(soundPack)},
		{Name: "c.yaml", Content: []byte(withPump(t))},
		{Name: "v.yaml", Content: []byte(soundVehicle)},
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct{ name, path, want string }{
		{"packs/a", "", "a.yaml:2:5"},
		{"packs/a", "version", "a.yaml:3:14"},
		{"packs/a", "rules[0]", "a.yaml:7:9"},
		{"packs/a", "rules[1]", "b.yaml:7:9"},
		{"packs/a", "rules[1].faults", "b.yaml:7:44"},
		{"packs/a", "rules[1].faults[0]", "b.yaml:7:53"},
		{"packs/a", "rules[1].when", "b.yaml:7:9"}, // not spelt out: the rule
		{"packs/a", "rules[9].when", "a.yaml:6:5"}, // no such rule: the list
		{"packs/a", "rules", "a.yaml:6:5"},         // a list: its name
		{"packs/a", "nothing.at[3].all", "a.yaml:2:5"},
		{"packs/a", "title.deeper", "a.yaml:4:12"},
		{"catalogue", "", "c.yaml:2:3"},
		{"catalogue", "items[1].conditions[2].fault", "c.yaml:38:40"},
		{"catalogue", "items[1].conditions", "c.yaml:35:7"},
		{"catalogue", "stops[1].order", "c.yaml:8:14"},
		{"vehicles/wn11", "axles[1].tyre.speed_symbol", "v.yaml:44:96"},
		{"vehicles/wn11", "dimensions.length_m", "v.yaml:29:28"},
		{"vehicles/wn11", "axles[x]", "v.yaml:33:5"},
		{"routines/shift", "items[0]", "v.yaml:21:13"},
		{"vehicles/unknown", "title", ":0:0"},
		{"", "", ":0:0"},
	} {
		file, line, column := loaded.Place(tc.name, tc.path)
		if got := fmt.Sprintf("%s:%d:%d", file, line, column); got != tc.want {
			t.Errorf("Place(%q, %q) = %s, want %s", tc.name, tc.path, got, tc.want)
		}
	}
}

// Items are sorted by stop when they are put together; their places must go with them.
func TestPlace_FollowsTheOrderOfStops(t *testing.T) {
	loaded := defaults(t)
	for i, item := range loaded.Catalogue.GetItems() {
		file, line, column := loaded.Place(catalogueName, fmt.Sprintf("items[%d].id", i))
		if got := textAt(t, file, line, column); got != item.GetId() {
			t.Fatalf("items[%d] is %s, but at %s:%d:%d stands %q", i, item.GetId(), file, line, column, got)
		}
	}
	for _, pack := range loaded.RulePacks {
		for i, rule := range pack.GetRules() {
			file, line, column := loaded.Place(pack.GetName(), fmt.Sprintf("rules[%d].id", i))
			if got := textAt(t, file, line, column); got != rule.GetId() {
				t.Fatalf("rules[%d] of %s is %s, but at %s:%d:%d stands %q", i, pack.GetName(), rule.GetId(), file, line, column, got)
			}
		}
	}
}
