// Package station is what a station does: it takes commands, decides the
// events they mean, keeps what the events say, and tells whoever listens.
//
// # What it promises
//
//   - A command is answered once its events are durable, and never twice
//     carried out: the same id gives the first answer again.
//   - Readers and watchers see nothing that is not durable, and states of one
//     vehicle never run backwards.
//   - Everything it shows follows from the journal's events alone. The rows it
//     keeps beside them are made by the same code that replays them.
//   - A verdict at an instant in the past is given from what was known then.
//   - After a failed write nothing of that write is ever shown, and nothing
//     more is taken: Failed is closed, and only a new Open finds the truth.
//
// # Who owns what
//
// The working state (type state and all below it) belongs to the journal's
// committer goroutine: commands are decided there, one after the other. After
// a batch is synced the committer publishes immutable snapshots of the vehicles
// that changed; all readers use these. One goroutine of ours, the teller, wakes
// watchers: after a publication, when time alone changes a readiness, and for
// heartbeats.
//
// # Time
//
// Every command gets an instant of its own, later than that of every command
// before, and all its events carry it. So "as of an instant" always falls
// between commands, and never inside one. When the computer's clock is set
// back, the station's time goes on from the newest event.
//
// A twin is told how far its tablet's clock is off (Options.Right) and judges by
// the right time; device times stay in the record as the tablet's clock showed them.
//
// As of an instant means: with everything that had happened by then. What
// happened in the few milliseconds before it and was not yet synced is in it,
// though whoever asked at that very moment was not shown it.
//
// # Histories
//
// A verdict rests on at most 64 points of a step. When there are more, old ones are
// thinned to 56: the newest 24, the oldest, and every point at which history begins
// anew stay, the others lie farther apart the older they are. So the reach grows as
// long as somebody reads, and what was put in is counted all the same: a dropped
// point hands it on to the next. The rows "measured" keep every point.
//
// # Twins
//
// A tablet runs a station of its own beside the station of record. It takes over
// what is in force there (AdoptLibrary) and what is known of a vehicle
// (GetStanding, AdoptStanding), and then says of it what the station of record
// says at the same instant; only its sequence numbers are its own. Every other
// event in a twin's journal was commanded at the tablet.
//
// # Rows, version 11
//
// Rows are small and point at events by sequence number. Their values are
// protobuf wire format without a schema file; "ref" is a varint field holding
// a sequence number, times are nanoseconds since 1970 in UTC.
//
//	in-force/{name}              1 ref of the event that put it in force (name "catalogue" for the catalogue),
//	                             2 digest of the default files it came from; absent when a person applied it;
//	                             of a person: 3 digests of 32 bytes of all that stands apart and was not erased,
//	                             4 some event holds who it is openly, 5 time of the erasure
//	revision/{vehicle}/{n}       1 ref of the event of revision n, ten digits
//	step/{vehicle}/{step}        1 ref of the newest result by when somebody looked, 2 of the newest that is not "not checked",
//	                             3 time before which answers prove nothing (a repair), 4 ref of the newest look of the round before
//	series/{vehicle}/{step}/fresh    a Series of the newest points at the step, at most 8
//	series/{vehicle}/{step}/settled  a Series of those before the fresh ones
//	series/{vehicle}/{step}/taken    1 ref of the event that took the series over; absent when none did
//	measured/{vehicle}/{step}/{n}    a SeriesPoint: what the result of event n, sixteen digits, measured there
//	defect/{vehicle}/{defect}    a Defect
//	undone/{vehicle}/{step}      an UndoneStep
//	holding/{vehicle}            a CallSignHolding; absent while the vehicle has always answered to its own
//	standing/{vehicle}           1 verdict, 2 since, 3 time of its newest event, 4 ref of its newest event
//	round/{uuid}                 1 Round without its progress, 2 ref of its opening, 3 time of its last change of state,
//	                             4 RoundConditions, one for each time they were given, 5 ref of its newest event that is no result,
//	                             6 ref of the event that took it over with its plan; absent when it was opened here,
//	                             7 Timestamp of its last change of state by the device's clock, 8 for each of 4 when it came, by the
//	                             station's clock, 9 when it was said, by the device's; 0 where nobody knows
//	live/{vehicle}/{uuid}        empty; there while the round is open or paused
//	answered/{uuid}/{step}       1 refs of the results, oldest first, 2 position in the plan, 3 newest is "not checked",
//	                             4 time of the newest, 5 for each ref of 1 the place, from 1, among the results of the round in
//	                             the event that took it over, 0 where the event recorded it; absent when all are 0
//	stock/{station}/{material}/{n}   1 kind (1 delivered, 2 used, 3 counted), 2 when it happened, 3 amount; n as of measured
//
// A ref to a result may point at an event that took a vehicle over (standing_adopted);
// the result is then the one that this event tells of the step.
//
// {vehicle} is the whole resource name, vehicles/wn11.
package station
