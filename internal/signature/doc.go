// Package signature says what a signature of a round is over, and whether it still
// fits. It binds a person, an instant, a device and the exact content that stood before
// the person, by one hash; docs/signatures.md tells how to work it out from the record
// with any protobuf library. The hash proves what was signed, and the record that it was
// signed then; that it was this person rests on the PIN, the tablet and the station.
package signature
