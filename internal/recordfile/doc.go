// Package recordfile writes and reads record files: a stretch of a station's
// record exactly as the journal keeps it, in a form that proves itself. An
// export is one, and so is what a tablet keeps of the station's record.
//
// # The file, version 1
//
//	"bayround record\n"
//	RecordPart, each with its length before it as a varint of protobuf:
//	    head          whose record it is, and the Merkle tree it goes on from
//	    command ...   in the order of the events, each whole
//	    seal          the signed checkpoint after the last event, and SHA-256 of all before
//
// A part has at most 1 MiB. The messages stand in bayround/v1/record.proto.
//
// # What a reader holds a file to
//
//   - Each event is a JournalEvent, has the number that it should have, and is of
//     the command it stands with. Of an event whose content was dropped the leaf
//     hash stands for it.
//   - Each text that is kept apart belongs to an event of its command.
//   - The tree that the events make up has the root that the station signed.
//   - No byte differs from what was sealed, and none stands behind.
//
// So whatever was changed, removed, added or put elsewhere in a sealed file is
// found, at the latest when the seal is read; what the commands hold counts only
// then. Whoever makes a file anew with another key can put anything into it:
// compare the key with one known otherwise. Receipts stand outside the Merkle
// tree: for them the seal vouches, which is no signature.
//
// A file without a seal was cut off. What stands before the cut is whole, but
// nothing vouches for it: hold Root against a checkpoint.
package recordfile
