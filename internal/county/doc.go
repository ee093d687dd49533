// Package county lives through the fifteen months that the invented county of
// Wendmoor has behind it before its demonstration begins: what its drivers read,
// topped up and found, what its workshop repaired, and the faults that were hidden
// in it for the station to find. The demonstration and tests alone use it.
//
// # What it promises
//
//   - The same past always: it follows from a fixed seed and the number of days
//     before today alone. Today's date shifts it and changes nothing in it, so its
//     autumn is the autumn of the county, whatever the calendar says.
//   - Everything comes about by the ordinary commands of a station, in the order
//     in which it happened. The station is opened with a Clock, which stands where
//     the past has come to; so every event, repairs and gauge checks with them,
//     bears the time at which it happened, and what was known on a day of the past
//     can be asked for. Devices say when somebody looked.
//   - All ids follow from vehicle, day and step.
//   - On its last evening two defects are left, both WN31's: the charge that failed
//     on D-2, and the air it loses.
//
// It does not say what a vehicle really would do: noise, wear and leaks are chosen,
// as DESIGN.md beside this file says, and no figure that was measured on them holds
// for a real service.
package county
