// Package packtest holds the rule packs that come with Bayround to the
// published tables they were written from. It has tests only, and stands above
// the catalogue, the rules and the verdict so that it may use all of them.
//
// What it promises: every default pack loads and compiles against the default
// catalogue; every fault of the catalogue is spoken of by the service's policy;
// every row of Directive 2014/45/EU, Annex I, is accounted for and every covered
// row fires with the annex's grade; limits are held at, just below and just
// above the published number; the policy is nowhere laxer than the annex.
package packtest
