// Package rpc puts a station on the wire: gRPC handlers that translate and do
// nothing else, and everything around a call that is the same for all of them.
//
// What it promises to callers:
//
//   - No answer is UNKNOWN and none carries a stack trace. A refusal has a code,
//     a sentence for people, a google.rpc.ErrorInfo whose reason (UPPER_SNAKE_CASE,
//     domain "bayround") is for programs, and where fields are at fault a
//     google.rpc.BadRequest or PreconditionFailure that names each of them. Only a
//     bug of ours is INTERNAL; its cause stands in the station's log under the
//     request id that the ErrorInfo names.
//   - Every unary call has a deadline. A caller that brings none (a person with a
//     command-line client) is given Options.Deadline, five seconds unless set.
//     A call that ran out of time may have been carried out: repeat it with the
//     same id.
//   - A request is checked against the rules written in the proto before anything
//     else sees it.
//   - RecordResults takes up to 64 results at once and acknowledges them in the
//     order sent, each when it is durable. Results for one step are recorded in
//     the order sent; between different steps the order does not matter. A
//     refused result is answered with its refusal and the stream goes on.
//   - WatchReadiness and Follow end with UNAVAILABLE when the station stops.
//     A connection lives an hour at most, so that a renewed identity takes
//     effect; whoever watches must watch again when a stream ends.
//   - Follow ends with UNAVAILABLE (reason READER_TOO_SLOW) when its reader takes
//     nothing for 15 seconds; the message says with which token to go on. What was
//     sent before is still there to be read. RejudgeGauge and Rehearse end in the
//     same way; asked again they tell the same from the start.
//   - A request may carry its own id in the header "x-request-id" (up to 64
//     letters, digits, dots, hyphens and underscores); logs show it.
//
// A panic in a handler is a bug in the station: it is logged with the call it
// happened in and then ends the process, because nobody knows what it left
// behind. The journal is what a restart begins from.
//
// Limits: 1 MiB for a request, of which a photo may take 900 KiB; 64 streams a
// connection and 256 connections unless set otherwise; a connection more is
// closed at once.
// Windows and buffers are small and fixed, so that a thousand watchers cost
// little and no message costs a ping to estimate the bandwidth.
package rpc
