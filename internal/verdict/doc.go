// Package verdict says whether a vehicle may respond, why, and what would lift
// the verdict. It is a pure function of what is known and of an instant: no
// clock, no disk, nothing remembered between two calls.
//
// # What it promises
//
// The worst wins and hides nothing. In order of badness: UNFIT, MOVE_ONLY,
// UNPROVEN, RESTRICTED, FIT; the numbers of pb.Verdict rise with badness, so the
// worst is the greatest. Every finding and every open defect is a reason of its
// own, those that take nothing away too.
//
// What nobody has checked is never fit. A required step proves nothing when it
// was never answered, when its answer is too old, when it was recorded as not
// checked and no earlier answer is still fresh, when a repair was recorded after
// its answer, or when its answer no longer fits the configuration. A vehicle of
// which no step at all is required is UNPROVEN, not FIT.
//
// Waiting never makes anything better: as time passes answers go stale, deferrals
// are warned of and expire, and nothing else happens. So a result holds until
// exactly the earliest such instant; Fold and Of return it.
//
// The order in which findings, defects, rounds and undone steps are given never
// matters. The order of the required steps is the walking order and is kept.
//
// # From effects to verdicts
//
//	EFFECT_MOVING                      UNFIT
//	EFFECT_RESPONDING                  MOVE_ONLY
//	EFFECT_UNSPECIFIED, unknown        UNPROVEN    a rule could not be worked out
//	EFFECT_RESPONDING_WITHOUT_LIMIT    RESTRICTED
//	EFFECT_NOTHING                     FIT         noted, and shown as a reason
//	a required step proving nothing    UNPROVEN
//	a defect repaired, not yet checked UNPROVEN    whatever it was before
//	a defect that may wait             RESTRICTED  FIT when it takes nothing away and has no limits
//	a deferral that is over            as its pack says, and no better than the defect itself
//	several deferrals on one system    as its pack says
//	the record in doubt                UNPROVEN    FIT, and shown, when it was only not read through
//
// # Findings and defects
//
// A defect is one fault at one step (or one rule, where a finding names no
// fault). A live finding of the same fault at the same step is the same thing:
// an open defect and its live findings make one reason, as bad as the worst of
// them. A live finding of a rectified defect is left out: it is what was
// repaired. Were it found again, the defect would be open again.
//
// A deferral holds back what was found when it was decided and nothing worse: a
// finding of a higher grade, or one that takes away more, has its effect. Dangerous
// findings, those against moving and rules that could not be worked out are never
// held back. Limits and lost capabilities of the findings stay beside those of the
// deferral.
//
// Findings about groups of steps are taken as they are given: whoever works
// them out decides whether an answer from before a repair still takes part.
package verdict
