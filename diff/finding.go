// Package diff compares what is there with what is meant. All of it is pure: the
// time is an argument, and there is no network, disk or clock behind it.
//
// Start with Audit: plan, snapshot and history in, findings out. Its steps stand
// in audit.go in their order, each in the file of its group of rules, since a
// later one is silent about what an earlier one has explained. Paper holds the
// plan against itself before anything is bought, Fit asks whether one device
// more would fit, and Trend says when a rising peak meets its limit.
package diff

import (
	"cmp"
	"slices"
	"time"

	"boundwalk/inventory"
)

// Severity is how soon a finding wants a hand.
type Severity string

// The severities, most pressing first.
const (
	Urgent  Severity = "urgent"
	Warning Severity = "warning"
	Note    Severity = "note"
)

// Rank orders severities: 0 for Urgent, 1 for Warning, 2 for Note and all else.
func (s Severity) Rank() int {
	switch s {
	case Urgent:
		return 0
	case Warning:
		return 1
	}
	return 2
}

// Finding is one difference between plan and snapshot. Its key is stable from
// run to run.
type Finding struct {
	Key      string // kind and subject, such as "missing-device/slip-cam"
	Kind     Kind
	Severity Severity
	Subject  string // the device, port, supply, link or network that it is about
	Where    string // a port of the plan, such as "quay-switch/5"; may be empty
	Expected string
	Observed string
	Basis    inventory.Basis
	Since    time.Time // when it was first seen; zero: on paper
	Advice   string
	Caution  string          // stands beside the advice where acting on it can hurt
	Behind   []string        // subjects folded into this one cause, sorted
	MACs     []inventory.MAC // the addresses it is about, for accept; sorted
}

// New makes a finding with its key and default severity.
func New(kind Kind, subject string) Finding {
	return Finding{Key: string(kind) + "/" + subject, Kind: kind, Severity: kind.Severity(), Subject: subject}
}

// Sort orders findings for people: the most pressing first, then by kind and
// subject. Of unknown devices those with made-up addresses come first, for on a
// cable they are the odd ones.
func Sort(fs []Finding) {
	slices.SortStableFunc(fs, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.Severity.Rank(), b.Severity.Rank()), cmp.Compare(a.Kind, b.Kind),
			cmp.Compare(a.ordinary(), b.ordinary()), cmp.Compare(a.Subject, b.Subject))
	})
}

// ordinary is 0 for an unknown device whose addresses are all made up, else 1.
func (f *Finding) ordinary() int {
	if f.Kind != UnknownDevice || len(f.MACs) == 0 || slices.ContainsFunc(f.MACs, func(m inventory.MAC) bool { return !m.IsLocal() }) {
		return 1
	}
	return 0
}
