// Package round is the driver's side: the round being walked on a tablet, the
// tablet's own station, and how both are brought together with the station of record.
//
// The tablet keeps a whole station of its own, its twin. Every command is carried
// out there first and is durable before the driver sees it done; the twin's journal
// is the outbox. An uplink sends the tablet's own events to the station of record,
// in order and under the command ids they were given here, and takes over
// from it what others did. So a round can be begun, judged and signed with no
// network, by the same code that judges at the station.
package round
