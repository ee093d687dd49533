// Package measure holds the numbers of the trade: units, gauge pressure at
// another temperature, tread across the breadth, and what tyre markings mean.
//
// Everything here is a pure function of its arguments. No function makes NaN of
// numbers: what cannot be worked out is an error or, where the signature has no
// error, the answer on the safe side that its comment names.
package measure
