package rules

import (
	"fmt"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"

	pb "bayround/proto/bayround/v1"
)

// Engine is a set of compiled packs. It never changes.
type Engine struct {
	packs   map[string]*pack
	known   *vocabulary
	adapter types.Adapter
}

// pack is one compiled rule pack.
type pack struct {
	name, version, digest string
	authority             string
	rules                 []*compiled
	cold                  []*pb.ColdRule
}

// compiled is one rule, ready to be judged.
type compiled struct {
	pack        *pack
	index       int
	rule        *pb.Rule
	forVehicles *expression // nil for all
	when        *expression // nil when a fault or the limit alone sets it off
	limit       *limit      // nil when there is none
	text        *template
	items       []string // it looks at
	touches     givens   // what its expressions look at
	wholly      bool     // they read more of a trend than repeated readings
	names       *pb.Fault
	speaksOf    []string // faults it looks for, whether it is then met or not
}

// Compile checks packs against the catalogue and makes them ready. The error
// is of type Errors and names everything that is wrong. The packs must not be
// changed afterwards.
func Compile(packs []*pb.RulePack, cat *pb.Catalogue) (*Engine, error) {
	known := newVocabulary(cat)
	envs, err := newEnvironments(known)
	if err != nil {
		return nil, err
	}
	e := &Engine{packs: map[string]*pack{}, known: known, adapter: envs.vehicle.CELTypeAdapter()}
	var wrong Errors
	for _, p := range packs {
		if e.packs[p.GetName()] != nil {
			wrong = append(wrong, Error{Pack: p.GetName(), RuleIndex: -1, Wrong: "this pack is given twice", Right: "give every pack once"})
			continue
		}
		c, errs := envs.compilePack(p)
		e.packs[p.GetName()] = c
		wrong = append(wrong, errs...)
	}
	if err := wrong.asError(); err != nil {
		return nil, err
	}
	return e, nil
}

func (e *environments) compilePack(p *pb.RulePack) (*pack, Errors) {
	c := &pack{name: p.GetName(), version: p.GetVersion(), digest: Digest(p), authority: p.GetAuthority(), cold: p.GetColdRules()}
	wrong := e.vehicle.known.checkColdRules(p)
	seenID := map[string]int{}
	for i, rule := range p.GetRules() {
		r, complaints := e.compileRule(rule)
		if first, twice := seenID[rule.GetId()]; twice {
			complaints = append(complaints, complaint{field: "id", wrong: fmt.Sprintf("rules[%d] has this id too", first), right: "give every rule of a pack its own id"})
		} else {
			seenID[rule.GetId()] = i
		}
		for _, w := range complaints {
			wrong = append(wrong, Error{
				Pack: p.GetName(), RuleIndex: i, Rule: rule.GetId(), Field: w.field,
				Line: w.line, Column: w.column, Wrong: w.wrong, Right: w.right,
			})
		}
		r.pack, r.index = c, i
		c.rules = append(c.rules, r)
	}
	return c, wrong
}

// compileRule checks one rule; with complaints, the rule is not fit for use.
func (e *environments) compileRule(rule *pb.Rule) (*compiled, []complaint) {
	known := e.vehicle.known
	complaints := known.checkShape(rule)
	c := &compiled{rule: rule, items: known.itemsOf(rule), names: known.faults[rule.GetNamesFault()]}
	c.speaksOf = append(c.speaksOf, rule.GetFaults()...)

	condition, text := e.result, e.resultText
	if rule.GetScope() != pb.RuleScope_RULE_SCOPE_RESULT {
		condition, text = e.group, e.groupText
	}
	note := func(field string, found []complaint) {
		for _, f := range found {
			f.field = field
			complaints = append(complaints, f)
		}
	}
	var found []complaint
	if rule.GetForVehicles() != "" {
		c.forVehicles, found = e.vehicle.compile(rule.GetForVehicles(), cel.BoolType)
		note("for_vehicles", found)
	}
	if rule.GetWhen() != "" {
		c.when, found = condition.compile(rule.GetWhen(), cel.BoolType)
		note("when", found)
		if c.when != nil {
			c.speaksOf = append(c.speaksOf, c.when.faults...)
		}
	}
	if rule.GetLimit() != nil {
		c.limit, found = e.result.compileLimit(rule, c.items)
		complaints = append(complaints, found...)
	}
	c.text, found = text.compileText(rule.GetText())
	note("text", found)
	c.lookThrough()
	if c.touches&givenPeers != 0 && rule.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT {
		complaints = append(complaints, complaint{field: "scope", wrong: "a rule on one result does not see the other wheels", right: "set RULE_SCOPE_VEHICLE or RULE_SCOPE_GROUP to read peers"})
	}
	return c, complaints
}

// lookThrough gathers what the expressions of a rule look at.
func (r *compiled) lookThrough() {
	all := []*expression{r.when}
	if r.limit != nil {
		all = append(all, r.limit.number, r.limit.bound, r.limit.uncertainty)
	}
	if r.text != nil {
		for _, p := range r.text.pieces {
			all = append(all, p.value)
		}
	}
	for _, x := range all {
		if x != nil {
			r.touches |= x.touches
			r.wholly = r.wholly || x.wholly
		}
	}
}
