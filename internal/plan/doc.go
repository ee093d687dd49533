// Package plan works out what must be looked at on one vehicle, where, and in
// which order: a routine over a configuration becomes check steps.
//
// # What it promises
//
// The same input gives the same plan, byte for byte, on every machine. The order
// in which the catalogue lists its items and a configuration its lamps, openings
// and so on never matters. Every step has an id and a title of its own. It reads
// no clock and no file, and changes nothing in its input; the plan shares
// messages with it, so neither may be changed afterwards.
//
// An item belongs to the plan when the routine names it or one of its triggers,
// and the vehicle has one of the features it fits. It gives one step for each
// thing it is repeated over, or one step.
//
// # The vehicle's frame
//
// Metres. The origin lies on the ground under the centre of the first axle; x
// points forward, y to the nearside (the kerb side: left where traffic keeps
// left), z up. Seen in this frame the walk is the same on both sides of the
// world. Coordinates that are worked out are rounded to the millimetre.
//
// # The walk
//
// The order of a plan is the best walk there is with an assistant (Walk). A driver
// walks on a line round the vehicle, stands at halts, from each of which several
// steps are in reach, and sits in the cab. Engine and ignition are touched in the
// driver's seat and as seldom as can be: steps fall into phases (off, ignition,
// first start, running, warm, stopped, off again, closing), each entered once. A step is
// in the earliest phase that its state allows and that what must be done before it
// (Item.after) leaves. The precautions of an item that can only come behind it are
// given up: it is then done in the last phase it can be, and the walk names both (Unguarded). So it does
// where a precaution cannot be done on this walk at all.
//
// Within a phase what needs the assistant lies together: last in the first phase that
// needs one, first in those behind it, but for precautions. The first stop comes first and the closing stop
// last. All halts at one stop with one setting of the lamps are a group, which is never interrupted:
// drivers learn it by heart. A setting is the circuits that burn together; they
// are as few as the circuits' not_with allows. At a halt what must not be missed comes
// first, then what lies higher. Things are done one after the other, each put back before the next,
// but for what stays by design until a later step puts it back (Item.stays_until), as chocks do. The walk names
// the steps at which a turnout would cost more than the station's goal, what stays undone included, and what no
// later step puts back; a short walk has what puts back whatever it leaves undone.
//
// What is left free is decided by cost: seconds of walking, climbing, kneeling and
// switching, those of the assistant and climbs into the cab as the routine weighs
// them. Phases between which nothing is switched are one problem, solved exactly
// by package sop; two that are parted by the driver's seat know nothing of each other. Among
// equally good orders the first is taken, by halts counted round the vehicle from the driver's
// door by the front and the nearside. Times are whole tenths of a second and prices whole hundredths,
// so that nothing hangs on how a machine rounds.
//
// Where the configuration keeps the order of its former revision (Kept), halts follow each
// other as they did, and what is new stands where it costs least, as long as the whole
// costs no more than a percent above the best.
//
// A trailer has no seat: its walk begins at the coupling, where somebody switches in the towing vehicle.
//
// # Front and rear wheels
//
// Front axles are the first axle of a powered vehicle, and those behind it that
// steer and lie at most 2.5 m behind it, one after the other. A trailer's first
// axle is a front axle only if it steers. All others are rear axles, a steered
// one at the rear included. The centre of an outer or single wheel lies half the
// track from the centre line, that of an inner wheel further in by the spacing of
// twins, taken as 1.12 times the tyre's width. Wheels are placed at half the
// tyre's height; where the size cannot be read, at 0.5 m.
//
// # Things without a side
//
// An item that is limited to a side takes the things of that side. A thing that
// names no side belongs to the side it lies on, and on the centre line to the
// nearside, so that nothing falls between two items. An opening
// that lies further out than half way is on that side. What is on none, but
// belongs to an item of one side, is looked at at the stop "front" or "rear" when
// it lies in the first or last tenth of the length.
//
// # Nuts and bolts
//
// An item of wheels (WHL-) that asks for conditions looks at all nuts or bolts of
// one wheel, as many as its axle has; a wheel that was worked on counts those of
// the nearest axle.
//
// # What a configuration does not list
//
// A lamp function, locker, seat or fitting that is not listed gives no step; a
// fluid that is not listed gives none either, unless such a vehicle must have it:
// engine oil, coolant and fuel with an engine, brake fluid with hydraulic brakes.
// There the configuration has a hole, and the step stays, placed where the driver
// would look.
//
// # Ids
//
// Step id is the item and the place, "TYR-120/axle-2-nearside-inner". The place is
// axle, side and twin position of a wheel, axle and side of an axle end, the id of
// the configured place, the item's anchor, or its stop where it has none.
package plan
