// Package ground is the ground round a vehicle: the line a person keeps to on a
// round, where on it one stands for a place, and how far it is from one stand to
// another. It knows points and lengths and nothing of vehicles.
//
// # The frame
//
// Metres, seen from above: x points forward, y to the nearside. Clockwise means from
// the front by the offside (smaller y) to the rear and back by the nearside, which is
// how a clock goes where traffic keeps left.
//
// # What it promises
//
// The round line goes round the convex hull of all corners, at the clearance from it:
// nowhere nearer than the clearance less a millimetre, and no corner of it farther
// than 1.09 times the clearance and a millimetre. It begins straight ahead of the
// front: at the foremost of its points on the centre line (y = 0), or nearest to that
// line where it lies wholly to one side. The order of the corners, and corners given
// twice, change nothing. The mirror image of the corners has the mirror image of the
// line.
//
// Lengths (Stand, Length, Distance, Between) are whole millimetres, points whole
// micrometres. Distance is a metric, exactly. What is equally far is decided in favour
// of what comes first clockwise.
//
// The same corners give the same bits on every processor: points are whole numbers
// inside, the hull is decided by whole numbers alone, and the rest is made of addition,
// multiplication, division and square root, each rounded on its own as IEEE 754 has it.
// No sine, no fused multiplication.
//
// # The corners of the line
//
// A person walks an arc round the corner of a vehicle. The line has tangents of that
// arc instead, each turning by at most an eighth of a circle: the corner is mitred,
// and where it turns by more it is cut once or, past a right angle, three times, always
// halving the turn. Tangents never come nearer than the arc, which chords of the arc
// would; halving needs no more than a square root; and the line is longer than arcs by at
// most 5.5 % of the clearance's circle (tan(π/8) / (π/8)), which with 0.6 m to keep is
// 0.2 m for the whole round.
package ground
