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
//   - Events can lose their content when their time is over (Prune). Their hashes stay,
//     and with them the tree, its root and all proofs; the station signs for which.
//   - A changed, removed, inserted or swapped event is found: by Events and Event
//     for the record they read, by Verify for the whole journal.
//   - What an event keeps apart can be erased: from then on nobody is shown it, and
//     the files of the store do not hold it. The tree and its root stay as they are.
//   - A store that holds less than a head beside it counts, or than a checkpoint
//     shown to Know, is noticed at Open or then: nothing more is accepted (Behind).
//   - After a failed commit, or a head that could not be written, nothing more is
//     accepted until the next Open.
//
// # What it does not promise
//
// Whoever holds the signing key can write another history; only a checkpoint
// kept elsewhere shows that.
//
// Answers do not wait for the head beside the store: it is written at once, while
// the next batch goes on, and what was committed during one such write is counted by
// the next. So a store that loses what was committed in the last of these writes
// before a crash, a few milliseconds of work, is not noticed by the heads alone,
// and neither is a directory that has lost store and heads together: compare with
// checkpoints kept elsewhere (Know). To wait was measured to take half of the
// throughput of 64 callers and to make a single caller wait three times as long.
//
// Rows and receipts stand outside the Merkle tree: Verify checks their
// form and that the receipts cover the events exactly, and rows can be made
// anew from the events at any time.
//
// # The directory
//
//	JOURNAL      the format record as text; its presence says: a journal was made here
//	signer.key   the Ed25519 signing key as golang.org/x/mod/sumdb/note writes it, mode 0600
//	badger/      the Badger store; its lock keeps a second process out
//	head-a, head-b
//	             the newest heads, as they stand under the key head, each put in place
//	             whole; written in turns. A journal from before there were any gets them
//	             at its next Open. One that cannot be read counts for nothing
//	head-seen    a checkpoint of the same form that somebody else showed and that counts
//	             more than the store holds; removed when the store holds as much
//	open         "process " pid "\n"; there, and locked, while a process has the store open.
//	             Without a lock it tells of an unclean stop
//	evidence/    for each of the newest three unclean stops a folder named after the time
//	             of the next opening (UTC), with what that opening would have changed:
//	             write-ahead logs, MANIFEST, KEYREGISTRY, newest value log, and the heads.
//	             At most 16 MiB of data of each file; nothing when the disk is nearly full
//	unlisted/    tables that Badger's MANIFEST leaves out: it removes them when it opens
//	             the store, also when MANIFEST has lost its end. Kept until the store is known to hold everything
//	replacing, badger.new/
//	             a repaired store that takes the place of badger/: the file is there from when
//	             the new one is whole until everything is in place, and the next Open
//	             finishes it. Without the file the folder is what a repair that broke
//	             off has left, and is removed. The old store goes to evidence/, whole
//	notes        JSON, a list of what repairs have left for whoever opens the journal next
//	repairing/   a copy of badger/ that a repair reads; removed with it
//	MOVED        where the journal goes on in place of here, as text; Open refuses it
//	restoring    there from the beginning of a Restore into this directory until all is
//	             in place: what lies here is not whole, and Open refuses it
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
//	    the event with this sequence number, byte for byte as it was given; absent
//	    when its content was dropped
//	'h' '/' index
//	    32 bytes: the Merkle hash with this stored hash index (tlog.StoredHashIndex);
//	    SHA-256 as in RFC 6962, event number seq is leaf seq-1
//	'c' '/' command id
//	    byte 0        1, the version of this layout; 2 = the events were dropped, and
//	                  with them the body
//	    bytes 1-32    digest of the request
//	    bytes 33-40   sequence number of its first event, 0 = it had none
//	    bytes 41-48   sequence number of its last event, 0 = it had none
//	    bytes 49...   the body of the receipt
//	dropped
//	    which events lost their content when their time was over, a signed note:
//	    origin "\n" "events dropped from journal " id "\n"
//	    "generation " n " up to event " horizon ": " count " events\n"
//	    base64 SHA-256 of the pieces under 'd' '/' n, one after the other, "\n", and
//	    the signature as in the head; absent when nothing was ever dropped
//	pruning
//	    generation of a pruning under way. Where it is not that of the note, what was
//	    written of it is cleared away at the next Open; else it is finished.
//	'd' '/' generation, piece
//	    16 bytes for each stretch of dropped events, in order: first and last sequence
//	    number. They do not touch, hold whole entries and never the newest event.
//	'q' '/' generation, piece
//	    what the caller of a pruning still owes, in bytes of its own
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
