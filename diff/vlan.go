package diff

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"boundwalk/inventory"
)

// vlans reports ports that lie in another VLAN than the plan means for what
// hangs on them.
func (a *auditor) vlans() {
	tells := map[string]bool{} // switches that tell tagged VLANs at all
	for i := range a.snap.Ports {
		if len(a.snap.Ports[i].Tagged) > 0 {
			tells[a.snap.Ports[i].Switch] = true
		}
	}
	for i := range a.snap.Ports {
		p := &a.snap.Ports[i]
		if !p.VLANKnown {
			continue
		}
		for _, d := range a.onPort[i] {
			if d.Role == inventory.Injector || a.covered[d.Name] {
				continue
			}
			a.vlanOf(p, d, tells[p.Switch])
			break
		}
	}
}

// plannedVLAN is the untagged VLAN meant for the device's port: the plan's word,
// else that of its network; 0: not said. What carries several networks, or
// has its own tagged, has none unless the plan says it.
func (a *auditor) plannedVLAN(d *inventory.Device) int {
	if d.VLAN != 0 {
		return d.VLAN
	}
	n, ok := a.plan.NetworkOf(d.Address())
	if !ok || n.VLAN == 0 || slices.Contains(d.Tagged, n.VLAN) || d.Role == inventory.Switch || d.Role == inventory.Router {
		return 0
	}
	return n.VLAN
}

func (a *auditor) vlanOf(p *inventory.PortState, d *inventory.Device, tells bool) {
	var wrong, want []string
	if v := a.plannedVLAN(d); v != 0 && p.VLAN != 0 {
		want = append(want, a.vlanWords(v)+" untagged")
		if p.VLAN != v {
			wrong = append(wrong, a.vlanWords(p.VLAN)+" untagged")
		}
	}
	var lacking []string
	for _, v := range d.Tagged {
		if tells && !slices.Contains(p.Tagged, v) {
			lacking = append(lacking, strconv.Itoa(v))
		}
	}
	if len(lacking) > 0 {
		wrong = append(wrong, "without VLAN "+strings.Join(lacking, ", ")+" tagged")
	}
	if len(wrong) == 0 {
		return
	}
	if len(d.Tagged) > 0 {
		var all []string
		for _, v := range d.Tagged {
			all = append(all, strconv.Itoa(v))
		}
		want = append(want, "VLAN "+strings.Join(all, ", ")+" tagged")
	}
	ref := refOf(p)
	f := New(WrongVLAN, ref.String())
	f.Where, f.Basis = ref.String(), inventory.Measured
	f.Expected = fmt.Sprintf("%s, for %s", strings.Join(want, ", "), d.Name)
	f.Observed = fmt.Sprintf("%s on %s", strings.Join(wrong, ", "), portWords(ref))
	f.Advice = fmt.Sprintf("set the VLAN of %s right in the switch's settings", portWords(ref))
	if a.ourPath(ref) {
		f.Advice = fmt.Sprintf("the way from here to the site runs over %s: change its VLAN on the spot only, not from afar", portWords(ref))
	}
	// An address of another network follows from the wrong VLAN.
	for _, o := range a.found {
		if o.Kind == WrongNetwork && o.Subject == d.Name {
			f.Observed = sentence(f.Observed, d.Name+" has "+o.Observed)
			o.Kind = "" // told here
		}
	}
	a.add(f, d)
}

func (a *auditor) vlanWords(v int) string {
	for _, n := range a.plan.Networks {
		if n.VLAN == v {
			return fmt.Sprintf("VLAN %d (%s)", v, n.Name)
		}
	}
	return fmt.Sprintf("VLAN %d", v)
}
