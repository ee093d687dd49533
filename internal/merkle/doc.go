// Package merkle is what a Merkle tree of events can be held to by whoever does
// not hold the events: its right edge, from which it is continued and its root
// follows, and the signed checkpoint of a size and a root. The tree is that of
// RFC 6962, the checkpoint is a C2SP tlog-checkpoint in a C2SP signed note. It is
// pure: it reads and writes nothing.
package merkle
