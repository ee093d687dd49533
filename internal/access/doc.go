// Package access says who may sign in at a tablet: it hashes PINs, checks them,
// and limits how often anybody may guess.
//
// # What it promises
//
//   - A PIN is kept only as an Argon2id hash (RFC 9106) in a PHC string.
//   - An attempt is counted, on disk, before the PIN is tried: killing the
//     process in the middle wins no further guess, and no restart forgets one.
//   - Somebody who is not known, and somebody without a PIN, cost as much time as
//     a wrong PIN and are answered in the same words.
//   - At most two hashes are worked out at once, so that memory stays bounded.
//
// A PIN of four to eight digits can be found by trying, whatever the hash: hashes
// go to the station's own tablets alone.
//
// # The file of the counters, version 1
//
// JSON: {"version":1, "people":{name: counter}, "devices":{name: counter}}. A
// counter is {"failures": how many in a row, "last": when the newest one was}.
// "pardons", {name: when}, may stand beside them: people whom kiosk unlock let in,
// of which the record was not told yet.
// It is replaced whole: written beside, synced, renamed, its directory synced. A
// file of a later version is refused. One that cannot be read is refused too,
// for somebody may have spoilt it in order to guess on.
package access
