package diff

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"boundwalk/inventory"
)

// So many unknown devices in one place have one cause, such as a loop, an access
// point that the plan lacks, or a machine that invents addresses: they are one
// finding, and stay one until they are few.
const (
	crowdComes = 40
	crowdGoes  = 20
	manyAt     = "many-at-" // a crowd's subject, before its place
)

// crowdOf is where an unknown device counts: its port, else its network.
func crowdOf(d *inventory.SeenDevice) string {
	if !d.Place.IsZero() && d.Place.Basis != inventory.Remembered {
		return d.Place.Ref().String()
	}
	return cmp.Or(d.Network, "site")
}

// crowds groups the unknown devices of places that hold too many to be told one by one.
func (a *auditor) crowds(list []*inventory.SeenDevice) map[string][]*inventory.SeenDevice {
	at := map[string][]*inventory.SeenDevice{}
	for _, d := range list {
		at[crowdOf(d)] = append(at[crowdOf(d)], d)
	}
	for place, of := range at {
		if n := len(of); n <= crowdGoes || n <= crowdComes && !a.open(UnknownDevice, manyAt+place) {
			delete(at, place)
		}
	}
	return at
}

func (a *auditor) crowd(at string, of []*inventory.SeenDevice) {
	f := New(UnknownDevice, manyAt+at)
	n, made, urgent := len(of), 0, false
	for _, d := range of {
		n = max(n, d.Place.Among) // more than are kept
		if d.Private {
			made++
		}
		urgent = urgent || Severity(a.policyOf(d)) == Urgent
	}
	if urgent {
		f.Severity = Urgent
	}
	f.Expected = "none that the plan does not name"
	where := "whose port is not known"
	f.Advice = "look at the switches which port learns so many addresses: it may be a loop, an access point that the plan lacks, or a machine that invents addresses"
	if p := of[0].Place; !p.IsZero() && p.Basis != inventory.Remembered {
		f.Where, f.Basis = at, p.Basis
		where = "behind " + portWords(p.Ref())
		f.Advice = fmt.Sprintf("look what hangs on %s: a loop, an access point that the plan lacks, or a machine that invents addresses; unplug it unless it is yours", portWords(p.Ref()))
	}
	// Those with an address the first: an invented one seldom has any.
	some := slices.Clone(of)
	slices.SortStableFunc(some, func(x, y *inventory.SeenDevice) int {
		return cmp.Or(cmp.Compare(btoi(x.Private), btoi(y.Private)), cmp.Compare(btoi(!x.HasAddress()), btoi(!y.HasAddress())))
	})
	var names []string
	for _, d := range some[:3] {
		names = append(names, idOf(d))
	}
	f.Observed = fmt.Sprintf("%d unknown devices %s, such as %s", n, where, strings.Join(names, ", "))
	if made > len(of)/2 {
		f.Observed += "; the addresses of most are made up"
	}
	a.add(f, nil)
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}
