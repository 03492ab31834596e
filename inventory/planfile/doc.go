// Package planfile reads the plan file of a site into an inventory.Plan, and
// changes the file without disturbing what a person wrote in it.
//
// Parse is strict: a key it does not know, a value of the wrong kind, a quantity
// without a unit, a doubled address or a name that leads nowhere are problems,
// each with its line and column, and all of them are told at once. A plan with a
// problem is no plan: Parse returns none, so that the caller keeps its last good
// one.
//
// One table of keys (the files named keys_*.go) drives reading, the JSON Schema
// and Render. File.Edit changes the text at the positions of the syntax tree,
// parses the result and compares it with the plan that was meant before it
// returns anything: comments, order and quoting of the rest stay byte for byte.
//
// YAML's anchors, aliases and merge keys may be used. Secrets of the site are
// references, which Resolve follows; they never stand in the plan.
package planfile
