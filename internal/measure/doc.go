// Package measure holds the numbers of the trade: units, gauge pressure at
// another temperature, tread across and round a tyre, what tyre markings mean,
// levels and fluids, batteries at rest, timed tests of air and of flashing
// lamps, and how sure a reading makes a decision.
//
// Everything here is a pure function of its arguments. No function makes NaN of
// numbers: what cannot be worked out is an error or, where the signature has no
// error, the answer on the safe side that its comment names. An uncertainty of
// which nothing is known is infinite, and a decision that rests on it is
// CannotTell.
package measure
