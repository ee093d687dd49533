// Package catalogue reads what a station is told in files and says what is
// wrong with it: the catalogue of check items, routines, rule packs, stations,
// vehicles, gauges and people.
//
// It promises:
//   - Bytes in, messages out. Nothing here touches disk, network or clock; the
//     data files that come with Bayround are part of the program (Defaults).
//   - A set of files is taken whole or refused whole. A refusal is a list of
//     Problems, all that were found, each with file, line and column, what is
//     wrong and what would be right.
//   - The order of the files makes no difference. Fragments of the catalogue or
//     of one rule pack may be spread over several files.
//   - Whatever the bytes, Load comes back: it never panics, and what it spends is
//     bounded by the limits in guard.go.
//
// A file is the YAML form of a bayround.v1.StationFile: fields by their names in
// the proto, enum values by their full names, durations as 14h or 15m. Anchors,
// aliases, tags and several documents in one file are refused: everything can be
// read where it stands.
package catalogue
