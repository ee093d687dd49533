// Package deferral says whether a defect may wait, and how long, in the manner of
// an aircraft's minimum equipment list (EASA CS-MMEL): pure, instants are given.
//
// A rule pack sets the longest interval of each grade (pb.DeferralPolicy) and each
// of its rules whether its findings may wait and at most how many days; the shorter
// one counts. The day of discovery, the local calendar day on which the defect was
// first found, is not counted: an interval of three days of what is found on a
// Monday ends with Thursday, at the midnight that follows it. Days are calendar
// days, from midnight to midnight by the station's local time (CS MMEL.105), so
// that one on which clocks are changed is an hour shorter or longer.
//
// Never deferred, whatever a pack says: what is dangerous, what must not move,
// what nobody could work out, a vehicle that somebody stopped, and what a rule of
// another authority takes off the run.
package deferral
