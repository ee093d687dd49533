// Package sop solves sequential ordering problems: the shortest path that begins
// at the first node, ends at the last, meets every node once and keeps every
// precedence. Distances are whole numbers and need not be the same both ways.
//
// # What it promises
//
// The same problem and the same budget give the same solution on every machine: the
// budget is a number of operations, never of seconds, and what looks like chance
// comes from a generator with a fixed seed. A solution keeps every precedence, is
// never longer than that of the nearest-neighbour rule, and carries a proven lower bound: where bound and
// cost meet, nothing shorter exists, and Proven says so.
//
// Groups of nodes may be held together (NewGrouped): an order interrupts none. Where the budget
// allows the dynamic program, its order is the cheapest, and among several cheapest the
// lexicographically first by the nodes' numbers; so it is the same however rows of input are
// sorted, as long as the caller numbers the nodes the same way. An order to start from changes nothing then.
//
// # How
//
// A search for better orders goes first: from several starts it exchanges two
// neighbouring stretches of the path, which keeps their direction and so most
// precedences, with labels that make the test of the rest cheap (the lexicographic
// exchange of L. M. Gambardella and M. Dorigo, "An Ant Colony System Hybridized with a
// New Local Search for the Sequential Ordering Problem", INFORMS Journal on Computing
// 12(3), 2000); a kick of several such exchanges leads out of what cannot be
// bettered by one.
//
// A branch and bound then goes through what is left. What remains to be visited
// costs at least its cheapest assignment of a successor to each node, worked out by
// the Hungarian method and mended by one augmenting path from node to child. Two
// prefixes that have visited the same nodes and stand at the same one have the same
// future, so only the shorter is followed. What was not looked at when the budget
// ends gives the bound.
//
// Where a sixteenth of the budget does not end that, a second bound is worked out: the cheapest
// arborescence, from the first node or backwards from the last, with whole-number prices on leaving each
// node and group, moved towards the highest bound. It sees what an assignment does not: that its cycles
// hang together. Arcs that no better order can have are taken out, and where the prices close much of the gap,
// each branch is held to them too.
//
// With groups, a dynamic program over what remains (M. Held and R. M. Karp, "A Dynamic Programming
// Approach to Sequencing Problems", Journal of the SIAM 10(1), 1962) is asked first: over sets of groups, with the
// least cost from each entry of a group to each exit, which the same program finds over
// sets of the group's nodes. Sets that no precedence allows are not made. Of a group of ten nodes and more, what cannot be of use
// is left out: one order is found that passes it sweepingly; what that costs, less what all but the group costs at least, is
// the most that passing it may cost, and the shortest tree through what was visited bounds what was paid for it. Only where it would take more
// states or operations than the budget has, search and branch and bound go to work.
package sop
