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
// EFFECT_UNSPECIFIED, which proves nothing and so makes the vehicle UNPROVEN.
//
// An Engine and a Judge never change; any number of goroutines may use them.
//
// # What an expression sees
//
//	field                        variables             must give
//	for_vehicles                 vehicle               bool
//	when, RULE_SCOPE_RESULT      vehicle, o            bool
//	when, GROUP and VEHICLE      vehicle, group        bool
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
//
// # Values that were not given
//
// Numbers that do not apply are 0 in an Observation, and a 0 must not be taken
// for a reading. So an expression that reads value or values, target or
// share_of_target, a tread depth, or a level of an observation that has none
// could not be worked out, unless it mentions the matching has_value,
// has_target, has_tread or has_level itself; affected and of need conditions
// for an answer. A division that gives no finite number is an error too.
//
// # When a rule is judged
//
// RULE_SCOPE_RESULT with faults: once for each of them that is seen, and when,
// if there is one, must hold too. Without faults: on every observation of its
// items.
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
