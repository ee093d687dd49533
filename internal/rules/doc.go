// Package rules judges what was seen. It compiles rule packs, whose conditions
// are written in the Common Expression Language (CEL), and turns observations
// into findings.
//
// # What it promises
//
// Everything is checked when a pack is compiled: every expression is parsed,
// typed against our messages and its cost bounded; every fault and item it
// names exists in the catalogue. Compile names all that is wrong, not the first
// thing. An expression cannot loop, wait, read a clock or reach out.
//
// The same observations give the same findings, in whatever order they come.
// Nothing passes in silence: a rule that cannot be worked out, and a fault that
// no rule of the vehicle's packs speaks of, give a finding of
// EFFECT_UNSPECIFIED, which proves nothing and so makes the vehicle UNPROVEN; and
// so does a limit of which nobody can tell whether it is kept.
//
// An Engine and a Judge never change; any number of goroutines may use them.
//
// # What an expression sees
//
//	field                        variables             must give
//	for_vehicles                 vehicle               bool
//	when, RULE_SCOPE_RESULT      vehicle, o            bool
//	when, GROUP and VEHICLE      vehicle, group        bool
//	limit.number, limit.bound,
//	limit.uncertainty            vehicle, o            double
//	text {...}                   as when, and fault    string, int, uint or double
//
// vehicle is a VehicleConfiguration, o an Observation, group a list of
// Observation in the order of their step ids, never empty. fault is the
// catalogue's Fault that was seen, or the rule's names_fault; empty when there
// is none. The container is bayround.v1: enum values read as
// VehicleCategory.VEHICLE_CATEGORY_N3. Macros are has, all, exists, exists_one,
// map and filter. Numbers of different kinds may be ordered (o.value < 100);
// equality and arithmetic want one kind (o.value == 24.0, o.value * 2.0).
//
// Functions beside CEL's own:
//
//	seen(o, "LMP-010-01")          bool    that fault is seen; the id is a literal
//	count_seen(group, ["...-01"])  int     observations showing one of the faults
//	least(list), greatest(list)    double  of a list of doubles; an error when it is empty
//	spread(list)                   double  greatest less least; 0 for fewer than two
//	round(x, 1)                    double  to so many decimals (0 to 6), halves away from zero
//	feature(vehicle, "pump")       bool    a configured word, or one that follows from other fields
//	psi(kpa), bar(kpa)             double  for texts
//	days_until(o, 3.0)             double  days until the trend reaches a bound at the earliest, by the steeper
//	                                       end of the slope's 95 % interval, as forecasts say it; 1000000 when
//	                                       it moves away from it
//
// # What an observation holds
//
// value is the first value of a reading, and of a tyre pressure that is judged cold
// (the step has cold_after and a target) the pressure at the station's reference
// temperature, where station and temperature of the air are known; normalised says
// so, and as_read is what was read. share_of_target and values go with value. Who
// wants what the gauge showed reads as_read.
//
// standard_uncertainty, uncertainties and tread_uncertainty_mm are what numbers are
// worth, as standard uncertainties: of the gauge's permissible error, its step and
// its scatter (GUM), of the mean when it was read several times, with the
// thermometer's when it was normalised; of the taps when it was tapped, of the hand
// when it was timed, of the pressures when it was watched. gauge_standing is what
// the gauge could prove by all that is known of it today, may_read_high_by how far
// one that was found wrong may have been off. tread_band_mm is in one band all round
// the tyre, tread_shape how it has worn. litres_to_add brings a level to its upper
// mark; below the lower mark it is that at least.
//
// trend is what the history of the step says with this reading in it, at the
// reference temperature and with what was put in taken out again. Its slope, level and
// p_no_trend are of the newest twelve weeks where these hold enough readings, otherwise
// of all since the last reset; points and days say how many readings that is and what
// they span. times_faster, falling, rising and use_risen look at all. peers, for rules
// of GROUP and VEHICLE scope, is how a tyre changes against the other observations
// of the items of all such rules that read peers. Both are worked out only for
// items of which a rule in force reads them: they cost a hundred times what a
// comparison costs. A rule that reads them looks at no more items than it must.
//
// # Values that were not given
//
// Numbers that do not apply are 0 in an Observation, and a 0 must not be taken
// for a reading. So an expression that reads one that is not there could not be
// worked out, unless it mentions the field that says whether it is:
//
//	reading                                                 is excused by
//	value, values, as_read                                  has_value
//	target, share_of_target                                 has_target
//	tread_band_mm, tread_central_mm, tread_least_mm         has_tread
//	level, level_below, level_above                         has_level
//	standard_uncertainty, uncertainties                     has_uncertainty
//	trend, peers                                            has(o.trend), has(x.peers)
//	trend.slope_..., trend.level, trend.p_no_trend          trend.has_slope
//	peers.loss_..., peers.p_no_loss                         peers.has_loss
//	days_until                                              trend.has_slope, and has(o.trend)
//	tread_uncertainty_mm, litres_to_add                     nothing
//	affected, of                                            nothing; they need conditions for an answer
//
// A division that gives no finite number is an error too, and nothing excuses an
// observation with a number that is not finite.
//
// A rule on a trend asks first, or every vehicle without a history is unproven:
//
//	has(o.trend) && o.trend.has_slope && o.trend.slope_high_per_week < -0.05 && days_until(o, 3.0) < 60.0
//
// # Limits
//
// A rule of RULE_SCOPE_RESULT may have a limit: a number, on which side of a bound it
// must lie, and what is done near the bound. The rule is met when the bound is not
// kept; faults and when must hold, too, where there are any, and when comes first.
//
//	limit:
//	  number: o.tread_band_mm
//	  side: LIMIT_SIDE_AT_LEAST
//	  bound: "1.6"
//	  unit: mm
//	  decision: DECISION_RULE_GUARDED
//	  guards_life: true
//	  why: up to 3.5 t
//
// What the number is worth comes from the observation when the number is value,
// values["part"], share_of_target or a tread depth, also in psi(), in bar(), in
// round(), or times or by a number written out. Otherwise uncertainty gives it, or
// the decision is simple. Compile refuses a limit that could never be decided.
//
//	decision            kept                          not kept          nobody can tell
//	SIMPLE              as read                       as read           the gauge was found wrong, and it matters
//	GUARDED             P kept >= confidence          P not >= conf.    between, or when nobody knows what it is worth
//	BENEFIT_OF_DOUBT    unless it is surely not kept  P not >= conf.    never, but for guards_life
//
// A number of which nobody knows what it is worth breaks a bound as it was read. A
// gauge that was found wrong may have been off by anything between nothing and what
// was found; only what holds over all of that is decided. With guards_life a gauge
// that is not in date cannot prove that the bound is kept, under any decision.
//
// What nobody can tell gives a finding of EFFECT_UNSPECIFIED that says what was read,
// how well and against what, and what to do: read it again, with another gauge, with
// one that is in date. It bears no fault: nobody has found one. Finding.limit says
// how the limit was judged; where nobody knows what the number is worth, nobody knows
// a probability either: probability_kept is left at 0 and why says it in words.
//
// Two limits on one number, a grave and a lesser one, want no condition between
// them: the graver finding counts.
//
// # When a rule is judged
//
// RULE_SCOPE_RESULT with faults: once for each of them that is seen, and when
// and limit, if there are any, must hold too. Without faults: on every observation
// of its items.
//
// RULE_SCOPE_GROUP: the observations of all the rule's items that fall into one
// group. A step that is not at an axle, or not a lamp, is in no group of that
// kind. A group of one is judged: a lamp function may have one lamp only, and a
// rule on pairs says size(group) == 2. RULE_SCOPE_VEHICLE: one group of all.
// No observation, no judgement. With faults, such a rule is met once for each
// of them seen in the group.
//
// same_round keeps only the observations of the round of the newest result in
// the group, by station time, then by result id.
//
// # Why cost is bounded beforehand
//
// CEL can count the cost of an evaluation and stop it at a limit, which about
// doubles the time of every evaluation. Our inputs are bounded (a group has at
// most maxGroup observations, repeated fields have limits in the contract), so
// the dearest evaluation is estimated once, when the pack is compiled, and a
// rule above costLimit, or without a bound, is refused.
package rules
