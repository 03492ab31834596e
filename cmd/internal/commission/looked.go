package commission

import (
	"fmt"
	"slices"
	"strings"

	"boundwalk/inventory"
)

// looked names what around the device could not be looked at: a step that is
// unknown for that reason says nothing of the device.
func (j *judge) looked() {
	var gaps []string
	for _, c := range j.snap.Coverage {
		if c.Result == inventory.Complete || c.Result == inventory.NotOffered || !j.concerns(c) {
			continue
		}
		gap := fmt.Sprintf("%s by %s (%s", c.Subject, c.Source, c.Result)
		if c.Table != "" {
			gap = fmt.Sprintf("%s of %s by %s (%s", c.Table, c.Subject, c.Source, c.Result)
		}
		if c.Why != "" {
			gap += ", " + c.Why
		}
		gaps = append(gaps, gap+")")
	}
	if at := j.at(); len(gaps) == 0 && !slices.ContainsFunc(j.plan.Devices, func(d inventory.Device) bool { return d.Access != "" && (at == "" || d.Name == at) }) {
		gaps = append(gaps, "no switch, for the plan gives none an access for SNMP")
	}
	if len(gaps) > 0 {
		j.say("not looked at", Unknown, strings.Join(gaps, "; "), `"boundwalk doctor" says what to do`)
	}
}

// at is the switch that it hangs on, or is to hang on; empty: not known.
func (j *judge) at() string {
	if !j.seen.Place.IsZero() {
		return j.seen.Place.Switch
	}
	return j.plan.ManagedPort(j.dev).Device
}

// concerns reports whether a look was at the device, its switch or its network.
// Where those are not known, each switch and each network may be the one.
func (j *judge) concerns(c inventory.Coverage) bool {
	switch c.Source {
	case inventory.SourceSNMP:
		d, ok := j.plan.Device(c.Subject)
		if !ok || c.Table != "" && c.Table != inventory.TableFDB && c.Table != inventory.TablePSE && c.Table != inventory.TableInterfaces {
			return false
		}
		at := j.at()
		return d.Name == j.dev.Name || d.Name == at || at == "" && d.Role == inventory.Switch
	case inventory.SourceARP, inventory.SourceNeighbors:
		n, ok := j.plan.NetworkNamed(c.Subject)
		if !ok || n.Unknown == inventory.UnknownCount {
			return false
		}
		for _, a := range slices.Concat(j.seen.Addrs, j.dev.Addresses) {
			if home, ok := j.plan.NetworkOf(a); ok {
				return home.Name == n.Name
			}
		}
		return true
	}
	return false
}
