package fault

// Newer refuses a file of a later version than this program understands. The
// message names the file, the version found, the newest that is understood and
// what to do.
func Newer(reason, file string, found, understood uint64) *Fault {
	return New(Precondition, reason,
		"%s is of version %d and was written by a newer program; this one reads versions up to %d and has changed nothing: use the newer program", file, found, understood)
}
