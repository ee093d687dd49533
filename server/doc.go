// Command server is a Bayround station, and the tool to ask and feed one.
//
//	server serve      run the station
//	server unit       print a systemd unit that does
//	server apply      tell it vehicles, people, gauges, items and rules, from files
//	server readiness  say which vehicles may respond, and why not; or watch it change
//	server erase      erase who a person is, for good
//	server play       carry out a round that stands in a file
//	server show       show a vehicle and what is checked on it
//	server history    what was measured over time, and where it is heading
//	server forecast   which places will next reach a limit
//	server explain    how a finding came about
//	server print      a sheet of paper: how a vehicle stands and why
//	server gauge      the gauges: list them, compare one, judge anew what one read
//	server subscriptions  how those who are told of changes over HTTP stand
//	server rehearse   which verdicts other rule packs would have changed
//	server packs      the rules in words, as Markdown
//	server verify     re-read a whole record and say whether it is sound (the station stopped)
//	server rebuild    make everything that follows from the record anew (the station stopped)
//	server export     write the record into a file that proves itself
//	server verify-export  say whether such a file is sound, and whose it is
//	server verify-record  say whether the proof of a round holds, and what it proves
//	server backup     write the record, its photos and its key into a folder that proves itself
//	server restore    make the folder of a record anew from a backup
//	server repair     put a damaged record together again from what is left and from copies
//	server move       bring a station to another computer
//	server prune      drop rounds that are older than 15 months and that nothing rests on (the station stopped)
//	server demo       a fresh station of an invented county, filled and served
//	server version    say which version this is
//
// # Exit codes
//
//	0  done
//	1  something failed; the message says what
//	2  the command was not understood: flags, arguments, a round file
//	3  the station refused it: a file, a result, a name it does not know
//	4  the station cannot be reached, or cannot answer now: do it again later
//	5  the record is damaged: a person must act
//	6  the station stopped itself because a write failed: start it again
//	7  the station can repair its record at its next start: start it again
//
// With readiness --exit-code the verdict is the code: 0 FIT, 12 RESTRICTED,
// 13 UNPROVEN, 14 MOVE_ONLY, 15 UNFIT; of several vehicles the worst.
//
// # Round files
//
// A round file says what a driver does, for play and demo. It is strict: a word
// it does not know is an error with line and column.
//
//	key: wn11-2026-02-03-morning     # the same key makes the same ids: playing twice records nothing
//	                                 # twice; without it the file's content is the key
//	vehicle: vehicles/wn11           # or wn11
//	routine: routines/shift          # or shift
//	driver: people/arkwith           # or arkwith
//	assistant: people/venholt        # may be left out
//	device: tablet-1                 # may be left out: player-1
//	conditions:
//	  engine_stopped_ago: 12h        # 12h when left out; `unknown`
//	  ambient_celsius: 6             # may be left out
//	gauges: {pressure: gauges/g-07}  # noted with every reading of that quantity
//	answer: sound                    # every step not listed is answered soundly; `nothing`: it is not answered
//	nominal:                         # what sound means for readings and levels, by item or item.part
//	  ELE-010: 25.6 V
//	  FLU-080: 70 %
//	steps:                           # by step (ITEM-000/place) or item (all its steps); a step beats its item
//	  TYR-121/axle-2-offside-inner:
//	    reading: 6.1 bar             # several parts: {pressure: 6.1 bar, temperature: 4 degC}
//	    gauge: gauges/g-03
//	    confirmed: true              # an unusual value was confirmed
//	    note: nail in the tread
//	    looked: 12s                  # the least time of looking and a second when left out
//	  TYR-130/axle-1-offside:
//	    profile: {unit: mm, depths: [8, 7.9, 8]}     # spread evenly; or sections: [[8, 7.9], [8, 8]]
//	  FLU-010:
//	    level: below                 # below, above, or the share between the marks: 0.75
//	    then:                        # found, cured, read again: further results of the step
//	      - cure: {done: topped up, amount: 1.5 L}   # or cure: topped up
//	        level: 0.8
//	  AMB-030:
//	    reading: {main: 150 bar, portable: 140 bar}
//	    also_seen: AMB-030-02        # faults beside a reading, profile or level, written as under seen
//	  LMP-020/rear-nearside:
//	    seen: LMP-020-01             # condition or fault; [a, b]; {a: 2 of 4}; `sound`
//	    left_open: true
//	  WIN-010: {not_checked: no_assistant}  # turnout engine_warm no_assistant no_gauge not_reachable not_carried no_time other
//	  PMP-010: {skip: true}          # not answered
//	  HVE-020:
//	    begin: true                  # the station is told before that it is begun
//	    seen: sound
//	    pause_after: turnout         # after it the round is paused, made safe and resumed
//	                                 # {note: turnout, make_safe: false, resume: false}: it stays paused
//	end: finish                      # finish, give_up, leave_open
//	note: words for the next watch   # give_up: why
//
// Sound is, in this order: the value under nominal; the target of the plan, for a
// coolant 15 K below the coldest that its station prepares for; the
// middle of what is plausible; for a tread six tenths of its depth when new; for
// a level nearly full; for conditions the sound one. The station knows none
// of this: it is how the player imagines a driver, and not an answer anybody
// should give without looking.
package main
