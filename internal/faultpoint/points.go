// Package faultpoint names the places in the code at which tests let a program
// break: fall dead, be refused by its disk, or stand still. In what is shipped
// every one of them is empty. Only a program built with the tag faultpoints
// does what the environment variable BAYROUND_FAULTPOINTS says:
//
//	journal.after-commit=exit@17,journal.before-commit=error@3
//
// Each part is point=action@n: what happens when that point is reached for the
// n-th time in the life of the process, counted from 1. A point may stand
// there more than once. The actions:
//
//	exit        the process kills itself, without a chance to tidy up
//	error       Hit returns an error that wraps ErrInjected
//	pause:path  Hit makes the empty file path.reached, then waits until there
//	            is a file of the name path; path holds no comma
//
// A plan that cannot be read ends the process at the first point it reaches: a
// mistyped name would otherwise test nothing.
package faultpoint

import "errors"

// Point is a place in the code at which a program can be broken.
type Point string

// The points. What an error at one of them means stands beside it.
const (
	// JournalBeforeCommit: a transaction is put together, and nothing of it is on
	// disk. Error: the commit failed and was not done.
	JournalBeforeCommit Point = "journal.before-commit"
	// JournalAfterCommit: the transaction is synced, and nobody knows of it yet.
	// Error: the commit failed although it was done.
	JournalAfterCommit Point = "journal.after-commit"
	// JournalBeforeAnswer: readers and watchers are shown what was committed, and
	// nobody who asked for it was answered. Error: no answer is given, and the
	// journal stops.
	JournalBeforeAnswer Point = "journal.before-answer"
	// JournalBeforeHeadRename: the head file is written beside the old one and
	// synced, and the old one still stands. Error: the rename failed.
	JournalBeforeHeadRename Point = "journal.before-head-rename"
	// JournalInPrune: some of what a prune removes is gone and committed, some
	// is not. Error: the prune could not go on.
	JournalInPrune Point = "journal.in-prune"
	// JournalInRestore: a part of a restored journal is put together, and nothing of
	// it is on disk. Error: the restore could not go on.
	JournalInRestore Point = "journal.in-restore"
	// JournalBeforeReplacing: a repaired store is whole and is to take the place of the
	// old one, which still stands. Error: the replacement could not go on.
	JournalBeforeReplacing Point = "journal.before-replacing"
	// JournalInReplacing: the old store is put aside, and none stands in its place.
	// Error: the replacement could not go on.
	JournalInReplacing Point = "journal.in-replacing"
	// JournalAfterReplacing: the repaired store stands in its place, and the heads
	// beside it are still those of the old. Error: the replacement could not go on.
	JournalAfterReplacing Point = "journal.after-replacing"
	// UplinkBeforeReceipt: the station has acknowledged commands of a tablet, and
	// the tablet has not kept that on its disk. Error: it cannot be kept.
	UplinkBeforeReceipt Point = "uplink.before-receipt"
)

// Points lists all of them.
func Points() []Point {
	return []Point{
		JournalBeforeCommit, JournalAfterCommit, JournalBeforeAnswer, JournalBeforeHeadRename,
		JournalInPrune, JournalInRestore, JournalBeforeReplacing, JournalInReplacing, JournalAfterReplacing, UplinkBeforeReceipt,
	}
}

// Variable is the environment variable that holds the plan.
const Variable = "BAYROUND_FAULTPOINTS"

// Tag is the build tag with which the points do something.
const Tag = "faultpoints"

// ErrInjected is what an injected error wraps.
var ErrInjected = errors.New("a failure that a test asked for")
