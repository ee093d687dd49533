package rpc

// patternWords puts the patterns that requests use into words; a test sees to it
// that none is forgotten.
var patternWords = map[string]string{
	`^vehicles/[a-z0-9]+(-[a-z0-9]+)*$`:                   named("vehicles", "wn11"),
	`^(vehicles/[a-z0-9]+(-[a-z0-9]+)*)?$`:                named("vehicles", "wn11") + ", or empty",
	`^(stations/[a-z0-9]+(-[a-z0-9]+)*)?$`:                named("stations", "skarholm-quay") + ", or empty",
	`^stations/[a-z0-9]+(-[a-z0-9]+)*$`:                   named("stations", "skarholm-quay"),
	`^people/[a-z0-9]+(-[a-z0-9]+)*$`:                     named("people", "tamsel-arkwith"),
	`^(people/[a-z0-9]+(-[a-z0-9]+)*)?$`:                  named("people", "tamsel-arkwith") + ", or empty",
	`^gauges/[a-z0-9]+(-[a-z0-9]+)*$`:                     named("gauges", "g-03"),
	`^(gauges/[a-z0-9]+(-[a-z0-9]+)*)?$`:                  named("gauges", "g-03") + ", or empty",
	`^routines/[a-z0-9]+(-[a-z0-9]+)*$`:                   named("routines", "shift"),
	`^packs/[a-z0-9]+(-[a-z0-9]+)*$`:                      named("packs", "gb-use"),
	`^([0-9a-f]{64})?$`:                                   `a SHA-256 as 64 hex digits in lower case, or empty`,
	`^[0-9a-f]{64}$`:                                      `a SHA-256 as 64 hex digits in lower case`,
	`^rounds/[0-9a-f-]{36}$`:                              roundName,
	roundPattern:                                          roundName,
	`^[A-Z]{3,4}-[0-9]{3}/` + hyphened:                    `a step of the plan, for instance "TYR-120/axle-2-nearside-inner"`,
	`^[A-Z]{3,4}-[0-9]{3}$`:                               `an item of the catalogue, for instance "TYR-120"`,
	`^` + hyphened:                                        `lower-case letters and digits in groups joined by "-", for instance "tablet-1"`,
	`^(` + unanchored + `)?$`:                             `lower-case letters and digits in groups joined by "-", for instance "tablet-1", or empty`,
	`^[a-z0-9]+(_[a-z0-9]+)*$`:                            `lower-case letters and digits in groups joined by "_", for instance "pressure"`,
	`^vehicles/` + unanchored + defectsPart:               `the name of a defect, for instance "vehicles/wn11/defects/3f2a9c", as readiness shows it`,
	`^(vehicles/` + unanchored + `/defects/[a-z0-9-]+)?$`: `the name of a defect, for instance "vehicles/wn11/defects/3f2a9c", as readiness shows it, or empty`,
}

// Parts of patterns as the proto writes them.
const (
	unanchored   = `[a-z0-9]+(-[a-z0-9]+)*`
	hyphened     = unanchored + `$`
	defectsPart  = `/defects/[a-z0-9-]+$`
	roundPattern = `^rounds/[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$`
	roundName    = `"rounds/" and a UUID in lower case, chosen by the device`
)

func named(collection, example string) string {
	return `a name like "` + collection + "/" + example + `" (lower-case letters, digits and single hyphens)`
}

// ruleWords puts rules without a value into words.
var ruleWords = map[string]string{
	"required":            "must be given",
	"string.uuid":         "must be a UUID, chosen by the caller and kept for every repeat",
	"string.uuid_empty":   "must be a UUID, chosen by the caller and kept for every repeat",
	"enum.defined_only":   "is a number that this version does not know",
	"enum.not_in":         "must be said; leaving it unspecified is no answer",
	"repeated.unique":     "must not name the same thing twice",
	"double.finite":       "must be a number, not infinite and not NaN",
	"timestamp.valid":     "must be an instant between the years 1 and 9999",
	"message.oneof":       "must be exactly one of the choices",
	"bool.const":          "can only be true when it is given",
	"string.well_formed":  "must be readable text",
	"duration.valid":      "must be a length of time",
	"google.protobuf.any": "must be a known message",
}
