// Package roundproof is a file that shows one round of a station's record to
// somebody who cannot ask the station: the events of the round exactly as the journal
// keeps them, the proof of each that it stands in the record, and the checkpoint that
// the station signed over all. It is pure: it reads and writes nothing.
//
// # The file, version 1
//
// Lines of UTF-8, each ended by a line feed; B is base64 as in RFC 4648, section 4,
// with its padding.
//
//	bayround round proof 1
//	round NAME              rounds/{round}
//	key KEY                 the station's verifier key, as in golang.org/x/mod/sumdb/note
//	event NUMBER B          an event, by its number from 1: a serialised JournalEvent
//	path B B ...            its audit path, from the leaf up, 32 bytes each; nothing in a tree of one event
//	dropped NUMBER B        an event of the round whose content was dropped: its leaf hash, 32 bytes
//	path B B ...
//	step B                  a step of the plan: a serialised CheckStep without its last result
//	checkpoint
//	...                     signed note, C2SP tlog-checkpoint: all that is left of the file
//
// Events stand in the order of their numbers, dropped ones among them, the steps
// behind them in the order of the plan. An event is leaf NUMBER - 1 of the tree of RFC
// 6962: its leaf hash is SHA-256 of a zero byte and its bytes. There is one way to
// write a file: a reader writes what it has read again and compares every byte.
//
// # What a reader holds a file to
//
//   - The checkpoint is signed with the key, and each event is in its tree.
//   - Each event has the number it is given with, and is of the round, or is the
//     configuration of its vehicle on which it was opened.
//   - The round begins with its opening, and no event that another one speaks of is left out.
//   - The steps are those of the plan whose digest the opening holds.
//
// So it can be told that nothing was left out between the opening and the last event of
// the file, but for what Shown.Gap says; not, whether more was recorded after it. Nobody
// has to put the configuration or the steps into a file: without them it says less.
package roundproof
