// Package journal keeps the record of a station: an append-only,
// tamper-evident sequence of events on one local directory. It stores opaque
// bytes and knows nothing of what they mean.
//
// # What it promises
//
//   - An answer of Append is given after what it answers for is synced to disk.
//   - What one Append stores (events, rows, receipt) is there whole or not at all.
//   - Events are numbered 1, 2, 3 ... without a gap, in the order they were decided.
//   - One command id is carried out at most once; asking again gives the first receipt.
//   - A changed, removed, inserted or swapped event is found: by Events and Event
//     for the record they read, by Verify for the whole journal.
//   - What an event keeps apart can be erased: from then on nobody is shown it, and
//     the files of the store do not hold it. The tree and its root stay as they are.
//   - After a failed commit nothing more is accepted until the next Open.
//
// # What it does not promise
//
// Whoever holds the signing key can write another history; only a checkpoint
// kept elsewhere shows that. Losing the newest events together with the head
// that counts them cannot be seen from inside the directory either: compare
// Checkpoint with one kept outside (Options.Committed says when there is a new
// one). Rows and receipts stand outside the Merkle tree: Verify checks their
// form and that the receipts cover the events exactly, and rows can be made
// anew from the events at any time.
//
// # The directory
//
//	JOURNAL      the format record as text; its presence says: a journal was made here
//	signer.key   the Ed25519 signing key as golang.org/x/mod/sumdb/note writes it, mode 0600
//	badger/      the Badger store; its lock keeps a second process out
//
// # The key space in Badger, version 1
//
// All numbers are unsigned, 64 bits, big-endian. Every key is at most 2 KiB,
// every value at most 512 KiB and a little.
//
//	format
//	    "bayround journal 1\n"
//	    "id " 32 lower-case hex digits "\n"      made once, at random
//	    "key " note verifier key "\n"            its name is the origin
//	head
//	    the newest signed checkpoint, a C2SP signed note:
//	    origin "\n" size in decimal "\n" base64 root hash "\n"
//	    "\n" "\u2014 " origin " " base64(4 byte key hash, 64 byte Ed25519 signature) "\n"
//	    absent while there is no event
//	rows
//	    byte 0      1 = being made anew, 2 = complete
//	    bytes 1...  the version of the code that made the rows (Options.RowsVersion)
//	'e' '/' seq
//	    the event with this sequence number, byte for byte as it was given
//	'h' '/' index
//	    32 bytes: the Merkle hash with this stored hash index (tlog.StoredHashIndex);
//	    SHA-256 as in RFC 6962, event number seq is leaf seq-1
//	'c' '/' command id
//	    byte 0        1, the version of this layout
//	    bytes 1-32    digest of the request
//	    bytes 33-40   sequence number of its first event, 0 = it had none
//	    bytes 41-48   sequence number of its last event, 0 = it had none
//	    bytes 49...   the body of the receipt
//	'a' '/' digest
//	    what an event holds only the digest of, so that it can be erased:
//	    bytes 0-7     sequence number of the last event of the entry it came with
//	    bytes 8-39    salt, made at random
//	    bytes 40...   the content; the digest is SHA-256 of salt and content
//	'x' '/' digest
//	    empty; what stood under 'a' '/' digest was erased. Shown is nothing of it from
//	    here on; then it is dropped from Badger's tables and logs, at the next
//	    Open when that broke off. The mark stays.
//	'p' '/' row key, 0x00, 2^64-1 minus seq
//	    byte 0      0 = gone from here on, 1 = bytes 1... are the row's value
//	    seq is the last sequence number of the entry that wrote the row, so the
//	    newest version of a row comes first. A row key holds no 0x00.
//
// Everything an entry stores and the head that counts it are written in one
// Badger transaction.
package journal
