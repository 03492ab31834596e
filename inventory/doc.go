// Package inventory says what a network is: the plan of what is meant, the
// evidence of what the sources saw, and the snapshot that Assemble makes of it.
//
// The data flows one way. Package planfile reads a Plan; package discover
// gathers Evidence beside Coverage; Assemble, which is pure, decides which
// facts are one device, where it hangs, and what each port draws and how that
// is known. Package diff compares the Snapshot with the Plan.
//
// Read plan.go, evidence.go and snapshot.go first, then Assemble in assemble.go:
// its steps stand there in their order, each in the file of its noun. History is
// what the logbook adds from earlier runs.
//
// Five things are never one: empty, refused, timed out, not offered and zero.
// Pointers and Known flags keep them apart; a nil figure is unknown.
package inventory
